"""What a run could have shown: unknown stays unknown."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.watch import steps, watchable, watched
from babbitt.model.kinds import KINDS
from made_runs import make_run, make_spec, pulse

SPEC = make_spec()


def test_a_complete_run_is_watched_for_every_kind():
    assert watched(make_run(20), SPEC) == {kind: pytest.approx(20.0) for kind in KINDS}


@pytest.mark.parametrize(
    ("channel", "kinds"),
    [
        ("oil_pressure", {"oil_starvation", "low_oil_pressure", "dry_start"}),
        ("lateral_g", {"oil_starvation"}),
        ("oil_temperature", {"oil_overheat", "cold_load"}),
        ("coolant_temperature", {"coolant_overheat"}),
        ("boost", {"overboost"}),
        ("rpm", set(KINDS)),
    ],
)
def test_a_missing_channel_leaves_its_kinds_unwatched(channel, kinds):
    run = make_run(20, without=[channel])

    assert watchable(run) == set(KINDS) - kinds
    assert {kind for kind, seconds in watched(run, SPEC).items() if seconds == 0.0} == kinds


def test_slow_sampling_leaves_every_kind_watched():
    run = make_run(20, native_hz=dict.fromkeys(("oil_pressure", "boost", "oil_temperature"), 0.5))

    assert watchable(run) == set(KINDS)
    assert watched(run, SPEC) == {kind: pytest.approx(20.0) for kind in KINDS}


def test_over_revs_are_watched_at_any_rate():
    assert watched(make_run(20, hz=2), SPEC)["over_rev"] == pytest.approx(20.0)


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


FULL = dict.fromkeys(("rpm", "oil_pressure", "oil_temperature", "lateral_g", "boost"), 50.0)


@pytest.mark.parametrize(
    ("rates_hz", "learned", "expected"),
    [
        (FULL, True, []),
        (FULL, False, [("floor_line", "oil_pressure", 0.0)]),
        (FULL | {"oil_pressure": 1.0}, True, [("slow", "oil_pressure", 1.9)]),
        (
            {"rpm": 50.0, "oil_pressure": 50.0},
            True,
            [("hottest_oil", "oil_temperature", 0.0), ("no_corners", "lateral_g", 0.0)],
        ),
        ({"rpm": 50.0}, False, []),
    ],
)
def test_the_steps_by_which_a_run_is_judged_are_told(rates_hz, learned, expected):
    found = steps(rates_hz, SPEC, learned=learned)

    assert [(each.code, each.channel, pytest.approx(each.shortest_s)) for each in found] == expected
