from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.model.engine_running import gap_above_s, interval_s, running, stretches, usual_step_s
from babbitt.model.run import BAD, GOOD, MISSING, Run, RunInfo, Signal

INFO = RunInfo(
    run_id="r0",
    engine_id="E1",
    started_at=datetime(2025, 5, 3, tzinfo=UTC),
    start_basis="log",
    source_name="a.csv",
    source_sha256="0" * 64,
    dialect=(),
    conversions=(),
    warnings=(),
    max_gap_s=0.5,
)


def run_of(time_s, rpm, flags=None):
    if flags is None:
        flags = np.full(len(rpm), GOOD, np.uint8)
    values = np.asarray(rpm, np.float32)
    return Run(INFO, time_s, {"rpm": Signal(values, flags, "1/min", 10.0, "RPM")})


def shifting(*levels, hz=10):
    """Engine speed that stays at each (seconds, rpm) in turn."""
    rpm = np.concatenate([np.full(round(seconds * hz), rpm) for seconds, rpm in levels])
    return np.arange(len(rpm)) / hz, rpm


def test_runs_above_half_of_idle():
    time_s, rpm = shifting((5, 0), (5, 590), (5, 610), (5, 0))
    assert np.flatnonzero(running(run_of(time_s, rpm), 1200.0)).tolist() == list(range(100, 150))


def test_runs_above_the_starter_motor_where_idle_is_low():
    time_s, rpm = shifting((5, 490), (5, 510))
    assert np.flatnonzero(running(run_of(time_s, rpm), 700.0)).tolist() == list(range(50, 100))


@pytest.mark.parametrize(("seconds", "runs"), [(0.7, False), (1.2, True)])
def test_a_run_up_of_less_than_a_second_is_cranking(seconds, runs):
    time_s, rpm = shifting((5, 250), (seconds, 900), (5, 250))
    assert running(run_of(time_s, rpm), 1000.0).any() == runs


@pytest.mark.parametrize("levels", [((0.5, 900), (5, 0)), ((5, 0), (0.5, 900))])
def test_a_run_up_cut_off_by_the_log_counts(levels):
    time_s, rpm = shifting(*levels)
    assert np.count_nonzero(running(run_of(time_s, rpm), 1000.0)) == 5


def test_a_run_up_cut_off_by_a_gap_counts():
    time_s, rpm = shifting((5, 0), (0.5, 900))
    time_s, rpm = np.append(time_s, time_s[-1] + 60.0), np.append(rpm, 0.0)
    assert np.count_nonzero(running(run_of(time_s, rpm), 1000.0)) == 5


def test_a_slow_log_may_hold_a_run_up_of_one_sample():
    assert running(run_of(np.arange(3.0), [0, 3000, 0]), 1000.0).tolist() == [False, True, False]


def test_bad_samples_neither_run_nor_split_a_run_up():
    time_s, rpm = shifting((5, 0), (1.2, 900), (5, 0))
    flags = np.full(len(rpm), GOOD, np.uint8)
    flags[[55, 56]] = BAD, MISSING
    on = running(run_of(time_s, rpm, flags), 1000.0)
    assert np.flatnonzero(on).tolist() == [50, 51, 52, 53, 54, 57, 58, 59, 60, 61]


@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.05, 0.2, 0.7]),
            st.sampled_from([0.0, 900.0]),
            st.sampled_from([GOOD, GOOD, BAD, MISSING]),
        ),
        max_size=30,
    )
)
def test_the_usable_samples_run_as_if_the_others_were_not_there(samples):
    step_s, rpm, flags = np.array(samples, np.float64).reshape(-1, 3).T
    time_s, flags = np.cumsum(step_s), flags.astype(np.uint8)
    usable = flags == GOOD

    on = running(run_of(time_s, rpm, flags), 1000.0)

    alone = running(run_of(time_s[usable], rpm[usable], flags[usable]), 1000.0)
    assert on[usable].tolist() == alone.tolist()
    assert not on[~usable].any()


def test_a_run_without_engine_speed_runs_nowhere():
    run = Run(INFO, np.arange(4.0), {})
    assert running(run, 1000.0).tolist() == [False] * 4


def test_an_empty_run_runs_nowhere():
    assert running(run_of(np.zeros(0), []), 1000.0).tolist() == []


def test_interval_is_half_of_the_steps_on_both_sides():
    assert interval_s(np.array([0.0, 1.0, 3.0]), 5.0).tolist() == [0.5, 1.5, 1.0]


def test_a_gap_counts_for_neither_side():
    assert interval_s(np.array([0.0, 1.0, 9.0, 10.0]), 5.0).tolist() == [0.5, 0.5, 0.5, 0.5]


@pytest.mark.parametrize(("count", "weights"), [(0, []), (1, [0.0])])
def test_interval_of_no_step(count, weights):
    assert interval_s(np.zeros(count), 0.5).tolist() == weights


@given(st.lists(st.floats(0.001, 2.0), min_size=1, max_size=50), st.floats(0.1, 2.0))
def test_intervals_add_up_to_the_time_outside_gaps(steps, max_gap_s):
    time_s = np.cumsum([0.0, *steps])
    step_s = np.diff(time_s)
    total = interval_s(time_s, max_gap_s).sum()
    assert total == pytest.approx(step_s[step_s <= max_gap_s].sum())


def test_a_gap_is_three_usual_steps_and_half_a_second_at_least():
    assert usual_step_s(np.arange(100) / 100.0) == pytest.approx(0.01)
    assert gap_above_s(np.arange(100) / 100.0) == 0.5
    assert gap_above_s(np.arange(100) * 2.0) == 6.0
    assert gap_above_s(np.zeros(1)) == 0.5


def test_the_usual_step_of_a_long_log_is_found_from_a_part_of_it():
    time_s = np.cumsum(np.tile([0.1, 0.1, 0.7], 20_000))
    assert usual_step_s(time_s) == pytest.approx(0.1)


@given(st.lists(st.booleans(), max_size=40))
def test_stretches_are_where_the_mask_is_true(mask):
    array = np.array(mask, dtype=bool)
    first, last = stretches(array)
    rebuilt = np.zeros(len(array), dtype=bool)
    for start, stop in zip(first, last, strict=True):
        assert not rebuilt[max(start - 1, 0)]
        rebuilt[start : stop + 1] = True
    assert rebuilt.tolist() == mask
