"""A kind of file is known again by how it is written, not by when, by whom or with what in it."""

from __future__ import annotations

import pytest

from babbitt.errors import Remedy
from babbitt.logbook.settings import Profile
from ingest_logs import preview, read, refused

LOG = (
    "Logger serial: 10442\nDriver;A. Nother\nDate: 2026-05-03\n"
    "time;rpm;Ch 7 [V];boost [kPa]\n0.0;2000;1;5\n0.1;2037;2;6\n0.2;2074;3;7\n"
)


def kind(log: str) -> str:
    return preview(log).fingerprint


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("10442", "20871"),
        ("A. Nother", "B. Nobody"),
        ("2026-05-03", "2025-11-30"),
        ("0.2;2074;3;7\n", "0.2;2100;3;7\n0.3;2200;4;8\n"),
        ("2000;1;5", "2000;;5"),
        ("Ch 7 [V]", "CH7 (V)"),
        ("Date: 2026-05-03\n", "Date: 2026-05-03\n12:30:00;free text\n"),
    ],
    ids=["serial", "driver", "date", "rows", "blank cell", "spelling", "note without a key"],
)
def test_what_differs_from_file_to_file_of_one_kind_does_not_count(was: str, now: str) -> None:
    assert was in LOG
    assert kind(LOG.replace(was, now)) == kind(LOG)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (";", ","),
        ("Ch 7 [V]", "Ch 8 [V]"),
        ("Ch 7 [V]", "Ch 7 [mV]"),
        ("boost [kPa]", "boost [bar]"),
        ("Driver;", "Car;"),
        ("Date: 2026-05-03\n", ""),
    ],
    ids=["separator", "header", "unit", "unit of a known channel", "key", "missing key"],
)
def test_another_way_of_writing_is_another_kind(was: str, now: str) -> None:
    assert was in LOG
    assert kind(LOG.replace(was, now)) != kind(LOG)


def test_a_serial_number_in_a_header_does_not_count() -> None:
    assert kind(LOG.replace("Ch 7", "Ch 7 20260503")) == kind(LOG.replace("Ch 7", "Ch 7 19991231"))


def test_columns_in_another_order_are_the_same_kind() -> None:
    other = LOG.replace("Ch 7 [V];boost [kPa]", "boost [kPa];Ch 7 [V]")
    assert kind(other) == kind(LOG)


def profile(**about: object) -> Profile:
    return Profile.model_validate({"fingerprint": kind(LOG), **about})


PIT = {"columns": {"Ch 7 [V]": "oil_pressure"}, "units": {"oil_pressure": "psi"}}


def test_the_profile_that_knows_a_file_reads_it() -> None:
    profiles = {"pit": profile(**PIT), "other": profile(fingerprint="0" * 16)}
    run = read(LOG, profiles=profiles)
    assert run.signals["oil_pressure"].values[0] == pytest.approx(6.894757)  # NIST SP 811: psi
    assert preview(LOG, profiles=profiles).profile_name == "pit"


def test_a_profile_that_knows_another_kind_of_file_is_not_taken() -> None:
    found = preview(LOG.replace("Ch 7", "Ch 8"), profiles={"pit": profile(**PIT)})
    assert found.profile_name is None
    assert "oil_pressure" not in [column.name for column in found.columns]


def test_a_named_profile_wins_over_one_that_knows_the_file() -> None:
    given = {"profile": Profile(units={"oil_pressure": "kPa"}), "profile_name": "named"}
    run = read(LOG, profiles={"pit": profile(**PIT)}, **given)
    assert "oil_pressure" not in run.signals


def test_what_is_said_besides_wins_over_the_profile() -> None:
    profiles = {"pit": profile(**PIT, ambient_kpa=95.0)}
    run = read(LOG, profiles=profiles, units={"oil_pressure": "kPa"})
    assert run.signals["oil_pressure"].values[0] == 1.0
    left = profile(**PIT, lateral_positive="left", timezone="Europe/Paris")
    over = left.overlaid(Profile(lateral_positive="right"))
    assert (over.lateral_positive, over.timezone, over.columns) == (
        "right",
        "Europe/Paris",
        left.columns,
    )


def test_two_profiles_that_know_a_file_are_refused_with_the_option_that_settles_it() -> None:
    error = refused(LOG, profiles={"car 1": profile(**PIT), "car-2": profile()})
    assert "car 1 and car-2 fit this kind of file equally" in str(error)
    assert error.remedies == (Remedy("profile", value="car 1"), Remedy("profile", value="car-2"))
