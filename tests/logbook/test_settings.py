"""A logbook's settings and logger profiles: what is accepted, what is refused."""

from __future__ import annotations

import pytest

from babbitt.errors import SettingsError
from babbitt.logbook.settings import Settings, parse_settings


def test_an_empty_file_is_all_defaults() -> None:
    assert parse_settings("", source="logbook.toml") == Settings()


def test_a_profile_is_found_by_name() -> None:
    text = '[profile.pit]\nunits = {oil_pressure = "psi"}\nlateral_positive = "right"\n'
    profile = parse_settings(text, source="logbook.toml").profile_named("pit")
    assert profile.units == {"oil_pressure": "psi"}
    assert profile.lateral_positive == "right"


def test_service_limits_are_found_by_kind_of_part() -> None:
    text = "[service.rod_bearing]\nrunning_h = 12.0\ndose = {over_rev = 900.0}\n"
    limit = parse_settings(text, source="logbook.toml").service["rod_bearing"]
    assert (limit.running_h, limit.revolutions, limit.dose) == (12.0, None, {"over_rev": 900.0})


def test_the_register_may_be_on_a_server() -> None:
    url = "postgresql://ann@host/name"
    assert parse_settings(f'register = "{url}"', source="logbook.toml").register_url == url
    assert Settings().register_url is None


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
        ('register = "mysql://host/name"', "write it like 'postgresql://user@host/name'"),
        ("[service.rod_bearin]\nrunning_h = 1.0", "did you mean 'rod_bearing'?"),
        ("[service.rod_bearing]", "give running_h, revolutions or dose"),
        ("[service.rod.dose]\nover_revs = 1.0", "did you mean 'over_rev'?"),
        ("[service.rod]\nhours = 1.0", "unknown key 'service.rod.hours'"),
        ("units = ", "is not TOML"),
    ],
)
def test_a_fault_is_named(text: str, words: str) -> None:
    with pytest.raises(SettingsError, match=r"logbook\.toml") as caught:
        parse_settings(text, source="logbook.toml")
    assert words in str(caught.value)
