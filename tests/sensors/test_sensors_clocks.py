"""Clocks that do not agree, and starts that cannot be."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from babbitt.errors import Remedy
from babbitt.model.run import GOOD, Signal
from babbitt.sensors.clocks import clock_doubts, drift_doubts, second_clocks

TAKEN_IN = datetime(2026, 5, 20, tzinfo=UTC)
LAST_WEEK = datetime(2026, 5, 13, 10, 0, tzinfo=UTC)
TIME_S = np.arange(0.0, 1200.0, 0.1)


def column(values):
    values = np.asarray(values, np.float32)
    return {"x": Signal(values, np.full(len(values), GOOD, np.uint8), "", 10.0, "GPS Time")}


@pytest.mark.parametrize(("rate", "ticks"), [(1.002, 1.0), (0.998, 1.0), (1.001, 1000.0)])
def test_a_clock_that_runs_off_is_told(rate, ticks):
    (clock,) = second_clocks(TIME_S, column(3600.0 + rate * ticks * TIME_S))
    assert clock.rate == pytest.approx(rate, abs=1e-4)
    (doubt,) = drift_doubts([clock])
    assert doubt.remedies == (Remedy("map", "GPS Time", "time"),)


def test_a_clock_that_keeps_time_is_not_told():
    (clock,) = second_clocks(TIME_S, column(302_400.0 + 1.0001 * TIME_S))
    assert drift_doubts([clock]) == ()


@pytest.mark.parametrize(
    "values",
    [
        90.0 + 0.01 * TIME_S,  # a thermometer
        50.0 * TIME_S,  # a distance
        np.mod(TIME_S, 95.0),  # a lap time
        TIME_S + 3.0 * np.sin(TIME_S / 50.0),
        np.full(len(TIME_S), np.nan),
    ],
)
def test_what_is_no_clock_is_not_taken_for_one(values):
    assert second_clocks(TIME_S, column(values)) == ()


@pytest.mark.parametrize(
    ("started", "others", "said"),
    [
        (datetime(2000, 1, 1, 0, 12, tzinfo=UTC), [LAST_WEEK], "lost their battery"),
        (datetime(1980, 1, 6, 2, 0, tzinfo=UTC), [], "lost their battery"),
        (TAKEN_IN + timedelta(days=400), [LAST_WEEK], "1.1 years after it was taken in"),
        (TAKEN_IN + timedelta(days=3), [LAST_WEEK], "3 days after it was taken in"),
        (LAST_WEEK - timedelta(weeks=1024), [LAST_WEEK], "weeks of satellite navigation"),
        (LAST_WEEK - timedelta(days=1500), [LAST_WEEK], "4.1 years before every other run"),
    ],
)
def test_a_start_that_cannot_be_is_told(started, others, said):
    (doubt,) = clock_doubts(started, TAKEN_IN, others)
    assert said in doubt.evidence
    assert doubt.remedies == (Remedy("started"),)


@pytest.mark.parametrize(
    ("started", "others"),
    [
        (LAST_WEEK, []),
        (LAST_WEEK, [LAST_WEEK - timedelta(days=300)]),
        (LAST_WEEK, [LAST_WEEK - timedelta(days=1500)]),  # it stood for four years
        (datetime(2000, 1, 9, tzinfo=UTC), [datetime(1999, 9, 1, tzinfo=UTC)]),  # a team of then
        (TAKEN_IN + timedelta(hours=10), [LAST_WEEK]),  # a zone
    ],
)
def test_an_ordinary_start_is_not_doubted(started, others):
    assert clock_doubts(started, TAKEN_IN, others) == ()
