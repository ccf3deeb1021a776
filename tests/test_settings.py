"""A logbook's settings and logger profiles: what is accepted, what is refused."""

from __future__ import annotations

import pytest

from pipeline.errors import SettingsError
from pipeline.settings import Settings, parse_settings


def test_an_empty_file_is_all_defaults() -> None:
    assert parse_settings("", source="logbook.toml") == Settings()


def test_a_profile_is_found_by_name() -> None:
    text = '[profile.pit]\nunits = {oil_pressure = "psi"}\nlateral_positive = "right"\n'
    profile = parse_settings(text, source="logbook.toml").profile_named("pit")
    assert profile.units == {"oil_pressure": "psi"}
    assert profile.lateral_positive == "right"


def test_an_unknown_profile_names_those_there_are() -> None:
    settings = parse_settings("[profile.pit]\n", source="logbook.toml")
    with pytest.raises(SettingsError, match=r"no \[profile.pits\] \(profiles there: pit\)"):
        settings.profile_named("pits")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('timezone = "Mars/Crater"', "'Mars/Crater' is no time zone"),
        ('units = "furlongs"', "'units' is 'furlongs'"),
        ("colour = 1", "unknown key 'colour'"),
        ('[profile.a]\ncolumns = {"Ch 7" = "oil_presure"}', "did you mean 'oil_pressure'?"),
        ('[profile.a]\nunits = {oil_pressure = "degC"}', "'degC' is no unit of oil_pressure"),
        ('[profile.a]\ntimezone = "nowhere"', "'nowhere' is no time zone"),
        ("[profile.a]\nambient_kpa = 1.0", "'profile.a.ambient_kpa' is 1.0"),
        ("schema_version = 99", "'schema_version' is 99"),
        ("units = ", "is not TOML"),
    ],
)
def test_a_fault_is_named(text: str, words: str) -> None:
    with pytest.raises(SettingsError, match=r"logbook\.toml") as caught:
        parse_settings(text, source="logbook.toml")
    assert words in str(caught.value)
