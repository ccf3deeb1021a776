"""How values read to a person."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from babbitt.model.plain_text import parse_instant
from babbitt.present.words import Reader, as_measured, clock, duration, number

METRIC = Reader("metric", UTC)
IMPERIAL = Reader("imperial", UTC)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (1234567.8, "1,234,568"), (0.01234, "0.0123"), (12.345, "12.3"), (-99.5, "-99.5")],
)
def test_numbers_keep_three_figures(value: float, text: str) -> None:
    assert number(value) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.25, "0.25 s"),
        (48, "48 s"),
        (750, "12 min 30 s"),
        (59.9 * 60, "59 min 54 s"),
        (11520, "3 h 12 min"),
    ],
)
def test_durations_read_as_a_mechanic_writes_them(seconds: float, text: str) -> None:
    assert duration(seconds) == text


@pytest.mark.parametrize("value", ["54.996", "0.051", "1234.5678", "-0.0005"])
def test_a_measurement_keeps_every_digit(value: str) -> None:
    assert as_measured(float(value)) == value


def test_measurements_side_by_side_have_as_many_decimals() -> None:
    row = (0.05, 0.045, None, 1.0)
    assert [as_measured(each, row) for each in row] == ["0.050", "0.045", "–", "1.000"]


def test_a_place_in_a_run_never_reads_sixty_seconds() -> None:
    assert clock(247.31) == "4:07.3"
    assert clock(59.97) == "1:00.0"


def test_imperial_readers_see_imperial_units() -> None:
    assert IMPERIAL.value(689.4757293, "kPa") == ("100", "psi")
    assert IMPERIAL.value(100.0, "°C") == ("212", "°F")
    assert METRIC.value(100.0, "°C") == ("100", "°C")
    assert IMPERIAL.value(None, "kPa") == ("–", "psi")


def test_a_temperature_dose_is_converted_as_a_difference() -> None:
    assert IMPERIAL.dose(100.0, "°C·s") == ("180", "°F·s")
    assert IMPERIAL.dose(68.94757293, "kPa·s") == ("10", "psi·s")
    assert IMPERIAL.dose(12.0, "rev") == ("12", "rev")


def test_an_instant_may_lack_its_zone_but_not_its_date() -> None:
    assert parse_instant("2026-07-01T12:00").isoformat() == "2026-07-01T12:00:00"
    assert parse_instant(" 2026-07-01T12:00Z") == datetime(2026, 7, 1, 12, tzinfo=UTC)
    with pytest.raises(ValueError, match="'yesterday' is no date"):
        parse_instant("yesterday")


@pytest.mark.parametrize(
    "text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "1899-12-31", "2201-01-01"]
)
def test_no_engine_ran_at_the_ends_of_the_calendar(text: str) -> None:
    with pytest.raises(ValueError, match="check the year"):
        parse_instant(text)
