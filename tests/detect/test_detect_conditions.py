"""When the engine counts as settled, and when the car counts as cornering."""

from __future__ import annotations

import numpy as np

from babbitt.detect.conditions import conditions_of
from made_runs import line, make_run, make_spec, pulse

SPEC = make_spec()


def seconds_where(run, mask):
    at = run.time_s[mask]
    return (round(at[0], 2), round(at[-1], 2)) if len(at) else None


def test_the_engine_settles_three_seconds_after_its_start():
    run = make_run(10, rpm=pulse(0.0, 1100.0, 2.0, 99.0))

    assert seconds_where(run, conditions_of(run, SPEC).settled) == (5.0, 10.0)


def test_an_engine_that_runs_as_the_log_begins_is_settled():
    assert conditions_of(make_run(2), SPEC).settled.all()


def test_cranking_is_not_running():
    run = make_run(10, rpm=pulse(0.0, 280.0, 2.0, 5.0))

    assert not conditions_of(run, SPEC).running.any()


def test_lost_engine_speed_leaves_the_state_as_it_was():
    run = make_run(10, bad={"rpm": slice(100, 200)})
    conditions = conditions_of(run, SPEC)

    assert conditions.running.all()
    assert conditions.settled.all()


def test_positive_lateral_acceleration_is_a_left_hander():
    run = make_run(10, lateral_g=line((2, 0), (2.01, 1), (4, 1), (4.01, -1), (6, -1), (6.01, 0)))
    turning = conditions_of(run, SPEC).turning

    assert turning[run.time_s == 3.0] == 1
    assert turning[run.time_s == 5.0] == -1
    assert turning[run.time_s == 1.0] == 0


def test_a_corner_is_held_for_the_lookback():
    run = make_run(10, lateral_g=pulse(0.0, 1.0, 2.0, 4.0))

    assert seconds_where(run, conditions_of(run, SPEC).turning == 1) == (2.0, 5.5)


def test_the_next_corner_takes_over_at_once():
    run = make_run(10, lateral_g=lambda t: np.where(t < 2, 0, np.where(t < 4, 1.0, -1.0)))
    turning = conditions_of(run, SPEC).turning

    assert seconds_where(run, turning == 1) == (2.0, 3.98)
    assert seconds_where(run, turning == -1) == (4.0, 10.0)


def test_the_lookback_is_by_the_clock_over_a_gap():
    t = np.concatenate([np.arange(0, 2, 0.02), np.arange(10, 12, 0.02)])
    run = make_run(time_s=t, lateral_g=lambda t: np.where(t < 5, 1.0, 0.0))

    assert seconds_where(run, conditions_of(run, SPEC).turning != 0) == (0.0, 1.98)


def test_a_bad_lateral_sample_is_no_corner():
    run = make_run(10, lateral_g=pulse(0.0, 5.0, 3.0, 3.0), bad={"lateral_g": [150]})

    assert not conditions_of(run, SPEC).turning.any()


def test_a_run_without_lateral_acceleration_knows_no_corners():
    assert not conditions_of(make_run(2, without=["lateral_g"]), SPEC).turning.any()


def test_lost_oil_temperature_is_held_for_ten_seconds():
    t = np.arange(0, 30, 0.5)
    run = make_run(time_s=t, oil_temperature=lambda t: 80 + t, bad={"oil_temperature": t > 5})
    held = conditions_of(run, SPEC).oil_c

    assert (held[(t > 5) & (t <= 15)] == 85.0).all()
    assert np.isnan(held[t > 15]).all()


def test_oil_temperature_is_unknown_before_its_first_sample():
    run = make_run(2, bad={"oil_temperature": slice(0, 50)})
    held = conditions_of(run, SPEC).oil_c

    assert np.isnan(held[:50]).all()
    assert (held[50:] == 100.0).all()
