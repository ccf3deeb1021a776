from itertools import chain

import pytest

from babbitt.ingest.text.headers import Meaning, fold, join_groups, read_header
from babbitt.model.channels import channels
from babbitt.model.contracts import read_toml


@pytest.mark.parametrize(
    ("header", "meaning"),
    [
        ("Oil Press [psi]", Meaning("oil_pressure", "psi")),
        ("RPM (1/min)", Meaning("rpm", "1/min")),
        ("Oil Temp, °C", Meaning("oil_temperature", "°C")),
        ("Engine Speed: rpm", Meaning("rpm", "rpm")),
        ("oil_press_psi", Meaning("oil_pressure", "psi")),
        ("OilPressPSI", Meaning("oil_pressure", "psi")),
        ("Coolant temp F", Meaning("coolant_temperature", "F")),
        ("speed km/h", Meaning("speed", "km/h")),
        ("RPM", Meaning("rpm", "1/min", by_name=True)),
        ("lateral g", Meaning("lateral_g", "g", by_name=True)),
        ("Lat Acc", Meaning("lateral_g", "")),
        ("oil pressure", Meaning("oil_pressure", "")),
        ("MAP", Meaning("boost", "", absolute=True)),
        ("MAP_kPa", Meaning("boost", "kPa", absolute=True)),
        ("Oil Press [V]", Meaning("oil_pressure", "V")),
        ("Time (ms)", Meaning("time", "ms")),
        ("time_s", Meaning("time", "s")),
        ("Brake Press [bar]", Meaning(None, "bar")),
        ("Ch 7", Meaning(None, "")),
        ("", Meaning(None, "")),
    ],
)
def test_header_says_channel_and_unit(header: str, meaning: Meaning) -> None:
    assert read_header(header) == meaning


@pytest.mark.parametrize("written", ["oil.temp", "OIL-TEMP", "Oil_Temp", " oil  temp "])
def test_case_spaces_and_marks_do_not_matter(written: str) -> None:
    assert read_header(written).channel == "oil_temperature"


@pytest.mark.parametrize(
    ("written", "channel"),
    [("ÖLDRUCK", "oil_pressure"), ("Oldruck", "oil_pressure"), ("Re\u0301gime moteur", "rpm")],
)
def test_accents_do_not_matter(written: str, channel: str) -> None:
    assert read_header(written).channel == channel


def test_no_two_channels_share_an_alias_once_folded() -> None:
    owners: dict[str, str] = {fold(alias): "time" for alias in read_toml("time.toml")["headers"]}
    for name, channel in channels().items():
        for alias in chain([name], channel.aliases, channel.absolute_aliases):
            assert owners.setdefault(fold(alias), name) == name, alias


def test_every_alias_means_its_channel() -> None:
    for name, channel in channels().items():
        for alias in channel.aliases:
            assert read_header(alias).channel == name, alias
        for alias in channel.absolute_aliases:
            assert read_header(alias) == Meaning(name, "", absolute=True)


def test_aliases_that_state_the_unit_are_aliases() -> None:
    for channel in channels().values():
        assert set(channel.stating_aliases) <= set(channel.aliases)


@pytest.mark.parametrize(
    ("groups", "names", "headers"),
    [
        # Groups that make names whole, and one that says where else a channel is measured.
        (
            ("", "Oil", "Oil", "Gearbox"),
            ("Time", "Press", "Temp", "Oil Temp"),
            ("Time", "Oil Press", "Oil Temp", "Gearbox Oil Temp"),
        ),
        (
            ("Engine", "Engine", "Gearbox"),
            ("RPM", "Oil Temp", "Oil Temp"),
            ("Engine RPM", "Engine Oil Temp", "Gearbox Oil Temp"),
        ),
        # The same name means another channel under its group.
        (("Engine", "Vehicle"), ("Speed", "Speed"), ("Engine Speed", "Vehicle Speed")),
        # Groups that only name a source.
        (
            ("Logger", "ECU", "Analog", "Analog"),
            ("Time", "Boost", "Lat G", "Ch 7"),
            ("Time", "Boost", "Lat G", "Ch 7"),
        ),
        # Words above a header that tell nothing of its columns.
        (("Driver", "Someone", "else"), ("Time", "RPM", "Boost"), None),
    ],
)
def test_groups_are_put_before_names_where_they_tell_something(
    groups: tuple[str, ...], names: tuple[str, ...], headers: tuple[str, ...] | None
) -> None:
    assert join_groups(groups, names) == headers
