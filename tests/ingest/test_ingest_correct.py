"""Better instructions for a log that was misread, and how instructions are kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from babbitt.errors import SettingsError
from babbitt.ingest.correct import Correction, corrected
from babbitt.ingest.kept import from_json, to_json
from babbitt.ingest.source import Instructions
from babbitt.logbook.settings import Profile
from ingest_logs import csv_of, read

HEADERS = {"rpm": "RPM", "oil_temperature": "T1", "coolant_temperature": "T2"}
NOW = datetime(2026, 5, 16, 18, 30, tzinfo=UTC)


def better(before=None, at_rest=None, **wrong):
    return corrected(before or Instructions("E1"), Correction(**wrong), HEADERS, at_rest or {})


def test_what_is_stated_anew_wins_and_the_rest_stays():
    before = Instructions("E1", units={"boost": "bar", "rpm": "1/s"}, columns={"Ch 7": "boost"})
    after = better(before, units={"boost": "psi"}, columns={"Ch 8": "throttle"})
    assert after.units == {"boost": "psi", "rpm": "1/s"}
    assert after.columns == {"Ch 7": "boost", "Ch 8": "throttle"}


def test_channels_are_exchanged_with_what_was_stated_of_their_columns():
    profile = Profile(units={"oil_temperature": "°F", "boost": "psi"})
    before = Instructions("E1", profile=profile, offsets={"oil_temperature": 2.0})
    after = better(before, swaps=(("oil_temperature", "coolant_temperature"),))
    assert after.columns == {"T1": "coolant_temperature", "T2": "oil_temperature"}
    assert after.units == {"coolant_temperature": "°F", "boost": "psi"}
    assert after.profile is not None
    assert after.profile.units == {"boost": "psi"}
    assert after.offsets == {"coolant_temperature": 2.0}


def test_exchanging_twice_reads_as_before():
    log = csv_of(
        ("time", "RPM", "Oil Temp (°C)", "Water Temp (°C)"),
        [(f"{i / 10}", 3000 + i, 90 + i / 100, 80 + i / 100) for i in range(50)],
    )
    headers = {"oil_temperature": "Oil Temp (°C)", "coolant_temperature": "Water Temp (°C)"}
    swap = Correction(swaps=(("oil_temperature", "coolant_temperature"),))
    once = corrected(Instructions("NB-01"), swap, headers, {})
    run = read(log, columns=once.columns, units=once.units)
    np.testing.assert_allclose(run.signals["oil_temperature"].values[0], 80.0)
    headers = {name: run.signals[name].header for name in headers}
    twice = corrected(once, swap, headers, {})
    again = read(log, columns=twice.columns, units=twice.units)
    np.testing.assert_allclose(again.signals["oil_temperature"].values[0], 90.0)


def test_a_zero_adds_to_one_taken_before_and_ends_with_another_unit():
    first = better(at_rest={"boost": 12.0}, zeros=("boost",))
    assert first.offsets == {"boost": 12.0}
    assert better(first, at_rest={"boost": 0.5}, zeros=("boost",)).offsets == {"boost": 12.5}
    assert better(first, units={"boost": "psi"}).offsets == {}


def test_a_zero_and_a_unit_at_once_are_refused():
    with pytest.raises(SettingsError, match="correct what else is wrong with it first"):
        better(at_rest={"boost": 12.0}, zeros=("boost",), units={"boost": "psi"})


def test_an_offset_is_taken_off_and_a_channel_left_out_is_kept_aside():
    log = csv_of(
        ("time", "RPM", "Oil Press (kPa)", "Boost (kPa)"),
        [(f"{i / 10}", 3000 + i, 300 + i, 20 + i / 10) for i in range(50)],
    )
    run = read(log, offsets={"oil_pressure": 24.0}, left_out=frozenset({"boost"}))
    assert run.signals["oil_pressure"].values[0] == 276.0
    assert "Oil pressure: less 24 kPa, as stated." in run.info.conversions
    assert "boost" not in run.signals
    assert run.signals["boost_as_logged"].values[0] == 20.0
    assert any("boost (overboost)" in warning for warning in run.info.warnings)


@pytest.mark.parametrize(
    "given",
    [
        Instructions("E1"),
        Instructions(
            "E1",
            profile=Profile(units={"boost": "psi"}, lateral_positive="right", timezone="UTC"),
            profile_name="paddock",
            columns={"Ch 7": "oil_pressure"},
            units={"oil_pressure": "bar"},
            started=datetime.fromisoformat("2026-05-01T10:00"),
            zone=ZoneInfo("Europe/Paris"),
            offsets={"boost": -1.25},
            left_out=frozenset({"lateral_g", "boost"}),
        ),
        Instructions("E1", started=datetime(2026, 5, 1, tzinfo=timezone(timedelta(hours=2)))),
    ],
)
def test_instructions_are_read_back_as_they_were_kept(given):
    assert from_json(to_json(given, NOW), "E1") == (given, NOW)
    assert from_json(to_json(given, NOW), "E2")[0] == replace(given, engine_id="E2")
