"""What a run's sensors read in a few numbers."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.model.run import BAD, GOOD, MISSING, Run, RunInfo, Signal
from babbitt.sensors.doubts import AsLogged, doubts_of
from babbitt.sensors.summary import SensorSummary, summarise
from babbitt.sensors.thin import Thinner
from babbitt.sensors.usual import usual_of
from made_sessions import TOLLBAR, csv_of, read

INFO = RunInfo("r1", "E1", datetime(2026, 5, 1, tzinfo=UTC), "log", "a.csv", "0", (), (), (), 0.5)


def a_run(hz=20.0, seconds=60.0, **values):
    time_s = np.arange(round(hz * seconds)) / hz
    signals = {}
    for name, value in values.items():
        drawn = np.broadcast_to(value(time_s) if callable(value) else value, time_s.shape)
        samples = drawn.astype(np.float32)
        flags = np.where(np.isnan(samples), MISSING, GOOD).astype(np.uint8)
        signals[name] = Signal(samples, flags, "", hz, name)
    return Run(INFO, time_s, signals)


def starting(t):
    return np.where(t < 10.0, 0.0, 3000.0 + 20.0 * t)


def test_a_summary_is_read_back_as_it_was_written():
    written = summarise(read(csv_of(TOLLBAR, rate_hz=10.0)))
    again = SensorSummary.from_json(written.to_json())
    assert again.to_json() == written.to_json()
    assert again.corners
    assert again.pressure[0].kpa == pytest.approx(written.pressure[0].kpa, rel=1e-5)
    assert len(written.to_json()) < 8000


def test_states_of_the_engine_are_kept_apart():
    run = a_run(rpm=starting, oil_pressure=lambda t: np.where(t < 10.0, 2.0, 300.0))
    found = summarise(run)
    assert found.standing["oil_pressure"].median == 2.0
    assert found.running["oil_pressure"].median == 300.0
    assert found.running["oil_pressure"].seconds == pytest.approx(47.0, abs=0.2)
    assert found.idling == {}
    assert [point.rpm for point in found.pressure] == [3500.0, 4500.0]
    assert found.turned_s == pytest.approx(50.0, abs=0.2)


def test_an_engine_that_stopped_is_at_rest_only_once_pressure_is_gone():
    run = a_run(rpm=lambda t: np.where(t < 30.0, 3000.0, 0.0), oil_pressure=100.0)
    assert summarise(run).standing["oil_pressure"].seconds == pytest.approx(22.0, abs=0.2)


def test_bad_samples_are_left_out_unless_most_are_bad():
    run = a_run(rpm=starting, oil_pressure=lambda t: np.where(t % 10.0 < 4.0, 0.0, 300.0))
    flags = run.signals["oil_pressure"].flags
    flags[run.signals["oil_pressure"].values == 0.0] = BAD
    assert summarise(run).running["oil_pressure"].low == 300.0
    flags[:] = BAD
    assert summarise(run).running["oil_pressure"].low == 0.0


def parts_of(run, lengths):
    """Cut a run into parts, the last one as long as it takes."""
    edges = [0, *np.cumsum(lengths).tolist(), len(run.time_s)]
    for first, last in itertools.pairwise(edges):
        cut = {
            name: replace(s, values=s.values[first:last], flags=s.flags[first:last])
            for name, s in run.signals.items()
        }
        yield Run(run.info, run.time_s[first:last], cut)


def thinned(run, lengths=()):
    thinner = Thinner(len(run.time_s), run.duration_s)
    passed = list(thinner.passing(parts_of(run, lengths)))
    assert sum(len(part.time_s) for part in passed) == len(run.time_s)
    return thinner.thinned()


def wave(t):
    return 50.0 * np.sin(t)


def test_a_run_that_is_thinned_out_says_the_same():
    dense = a_run(500.0, 60.0, rpm=starting, boost=wave)
    thin = thinned(dense)
    assert len(thin.time_s) == 600
    assert summarise(thin).running["boost"].high == pytest.approx(
        summarise(dense).running["boost"].high, abs=0.5
    )


@given(st.lists(st.integers(0, 90), max_size=8))
def test_it_does_not_matter_in_which_parts_a_run_comes(lengths):
    run = a_run(37.0, 30.0, rpm=starting, boost=wave, gps_time=lambda t: 900.0 + t, odo=wave)
    whole, parted = thinned(run), thinned(run, lengths)
    np.testing.assert_array_equal(parted.time_s, whole.time_s)
    for name in ("rpm", "boost"):
        np.testing.assert_array_equal(parted.signals[name].values, whole.signals[name].values)


def test_of_other_channels_only_clocks_are_kept():
    run = a_run(rpm=starting, gear=3.0, odo=wave, gps_time=lambda t: 900.0 + t)
    assert set(thinned(run).signals) == {"rpm", "gps_time"}


def test_a_day_is_thinned_out_further():
    day = a_run(10.0, 86_400.0, rpm=3000.0)
    assert len(thinned(day).time_s) <= 216_000


def test_nothing_is_made_of_a_run_that_shows_nothing():
    for run in (
        a_run(rpm=0.0),
        a_run(rpm=np.nan, oil_pressure=np.nan),
        a_run(rpm=np.inf, oil_pressure=np.inf, boost=-np.inf, odo=np.inf),
        a_run(rpm=starting, oil_pressure=np.inf, lateral_g=-np.inf),
        a_run(20.0, 0.05, rpm=3000.0),
        a_run(rpm=starting),
    ):
        found = summarise(run)
        assert found.pressure == ()
        assert doubts_of(found, (), AsLogged()) == ()
        assert doubts_of(found, (found,), AsLogged()) == ()


def test_the_usual_is_the_median_of_what_earlier_runs_saw():
    runs = [a_run(rpm=starting, oil_pressure=kpa) for kpa in (280.0, 300.0, 900.0)]
    runs.append(a_run(rpm=starting))
    usual = usual_of([summarise(run) for run in runs])
    assert usual.runs == 4
    assert usual.running["oil_pressure"].median == 300.0
    assert usual.pressure == {3500.0: 300.0, 4500.0: 300.0}
    assert usual_of([]).running == {}
