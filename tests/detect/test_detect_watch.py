"""What a run could have shown: unknown stays unknown."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.watch import watchable, watched
from babbitt.model.kinds import KINDS
from made_runs import make_run, make_spec, pulse

SPEC = make_spec()


def test_a_complete_run_is_watched_for_every_kind():
    assert watched(make_run(20), SPEC) == {kind: pytest.approx(20.0) for kind in KINDS}


@pytest.mark.parametrize(
    ("channel", "kinds"),
    [
        ("oil_pressure", {"oil_starvation", "low_oil_pressure"}),
        ("lateral_g", {"oil_starvation"}),
        ("oil_temperature", {"oil_overheat", "cold_load"}),
        ("coolant_temperature", {"coolant_overheat"}),
        ("boost", {"overboost"}),
        ("rpm", set(KINDS)),
    ],
)
def test_a_missing_channel_leaves_its_kinds_unwatched(channel, kinds):
    run = make_run(20, without=[channel])

    assert watchable(run, SPEC) == set(KINDS) - kinds
    assert {kind for kind, seconds in watched(run, SPEC).items() if seconds == 0.0} == kinds


@pytest.mark.parametrize(("hz", "is_watched"), [(5.0, False), (9.6, True), (10.0, True)])
def test_oil_pressure_needs_two_samples_in_its_minimum_duration(hz, is_watched):
    run = make_run(20, native_hz={"oil_pressure": hz})

    assert (watched(run, SPEC)["oil_starvation"] > 0) is is_watched
    assert ("low_oil_pressure" in watchable(run, SPEC)) is is_watched


def test_temperatures_may_be_slow():
    run = make_run(20, native_hz={"oil_temperature": 1.0, "coolant_temperature": 1.0})

    assert watchable(run, SPEC) == set(KINDS)


def test_over_revs_are_watched_at_any_rate():
    assert watched(make_run(20, hz=2), SPEC)["over_rev"] == pytest.approx(20.0)


def test_without_a_minimum_duration_any_rate_will_do():
    spec = make_spec("min_duration_s = 0\n")

    assert "overboost" in watchable(make_run(20, native_hz={"boost": 1.0}), spec)


def test_only_running_counts():
    run = make_run(20, rpm=pulse(6000.0, 0.0, 10.0, 20.0))

    assert watched(run, SPEC)["coolant_overheat"] == pytest.approx(10.0, abs=0.05)


def test_bad_and_missing_samples_are_not_watched():
    run = make_run(20, bad={"oil_pressure": slice(0, 250)}, boost=pulse(100.0, np.nan, 10.0, 14.0))
    seconds = watched(run, SPEC)

    assert seconds["low_oil_pressure"] == pytest.approx(15.0, abs=0.05)
    assert seconds["overboost"] == pytest.approx(16.0, abs=0.05)
    assert seconds["over_rev"] == pytest.approx(20.0)


def test_lost_lateral_acceleration_is_not_watched_for_starvation():
    run = make_run(20, bad={"lateral_g": slice(0, 500), "oil_pressure": slice(0, 500)})

    assert watched(run, SPEC)["oil_starvation"] == pytest.approx(10.0, abs=0.05)


def test_a_gap_in_the_log_is_not_watched():
    t = np.concatenate([np.arange(0, 5.01, 0.1), np.arange(60, 65.01, 0.1)])

    assert watched(make_run(time_s=t, hz=10), SPEC)["over_rev"] == pytest.approx(10.0)
