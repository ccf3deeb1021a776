"""Oil pressure at nothing while the engine turns: a loss of oil counts, a lost sensor does not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.ingest.quality.flags import flag_samples
from babbitt.model.channels import channels
from babbitt.model.run import BAD, GOOD, SUSPECT

OIL = channels()["oil_pressure"].limits
RATES = pytest.mark.parametrize("hz", [10, 12.5, 20, 50, 100, 200])


def at_rate(hz, seconds):
    return np.arange(round(seconds * hz)) / hz


def held_kpa(time_s, seed=0):
    """Invented oil pressure of a sound engine at speed: slow swing, pump ripple."""
    ripple = np.random.default_rng(seed).normal(0.0, 5.0, len(time_s))
    return 420.0 + 60.0 * np.sin(time_s / 3.0) + ripple


def falling_away(time_s, at_s, tau_s):
    """Share of the pressure that is left when the pickup draws air from `at_s` on."""
    return np.exp(-np.maximum(time_s - at_s, 0.0) / tau_s)


def clipped(values):
    """Readings in whole kPa of a logger that shows nothing below zero."""
    return np.maximum(np.round(values), 0.0).astype(np.float32)


def judged(time_s, values, turning=None):
    turns = np.ones(len(time_s), bool) if turning is None else turning
    return flag_samples(time_s, values, OIL, turning=turns)


def reasons(flagged):
    return [fault.reason for fault in flagged.faults]


@RATES
@pytest.mark.parametrize("tau_s", [0.06, 0.1, 0.3])
@pytest.mark.parametrize("seed", range(3))
def test_a_loss_of_all_oil_counts_until_the_engine_is_stopped(hz, tau_s, seed):
    time_s = at_rate(hz, 60.0)
    rng = np.random.default_rng(seed)
    values = clipped(held_kpa(time_s, seed) * falling_away(time_s, 30.0 + rng.uniform(), tau_s))
    flagged = judged(time_s, values, time_s < 45.0)
    assert set(flagged.flags) <= {GOOD, SUSPECT}
    assert np.count_nonzero(flagged.flags == SUSPECT) <= 2  # the fall itself, where it is steep
    assert flagged.faults == ()


@RATES
def test_a_loss_that_comes_back_as_oil_does_counts(hz):
    time_s = at_rate(hz, 60.0)
    share = np.interp(time_s, [0, 30.0, 30.3, 40.0, 40.4, 60], [1, 1, 0, 0, 1, 1])
    flagged = judged(time_s, clipped(held_kpa(time_s) * share))
    assert set(flagged.flags) == {GOOD}


@RATES
def test_a_dry_start_counts(hz):
    time_s = at_rate(hz, 60.0)
    share = np.interp(time_s, [0, 13.0, 13.5, 60], [0, 0, 1, 1])
    flagged = judged(time_s, clipped(held_kpa(time_s) * share), time_s > 5.0)
    assert set(flagged.flags) == {GOOD}


@settings(deadline=None, max_examples=60)
@given(
    hz=st.sampled_from([10, 20, 50, 100, 1000]),
    top=st.floats(250.0, 600.0),
    rate=st.floats(200.0, 2900.0),
    low_s=st.floats(0.2, 40.0),
    clip=st.booleans(),
    seed=st.integers(0, 1000),
)
def test_no_sloped_loss_is_ever_bad_or_suspect(hz, top, rate, low_s, clip, seed):
    knots_s = np.cumsum([0.0, 5.0, top / rate, low_s, top / rate, 5.0])
    time_s = at_rate(hz, knots_s[-1])
    values = np.interp(time_s, knots_s, [top, top, 0.0, 0.0, top, top])
    values += np.random.default_rng(seed).uniform(-2.0, 2.0, len(time_s))
    flagged = judged(time_s, clipped(values) if clip else values.astype(np.float32))
    assert set(flagged.flags) == {GOOD}


@pytest.mark.parametrize("noise_kpa", [0.0, 0.8])
@RATES
def test_a_sensor_unplugged_and_plugged_in_again_is_bad_with_noise_too(hz, noise_kpa):
    time_s = at_rate(hz, 60.0)
    values = held_kpa(time_s)
    off = (time_s >= 30.0) & (time_s < 37.0)
    values[off] = np.random.default_rng(1).normal(0.0, noise_kpa, off.sum())
    flagged = judged(time_s, values.astype(np.float32))
    assert set(flagged.flags[off]) == {BAD}
    assert BAD not in np.delete(flagged.flags, np.flatnonzero(off))[10:-10]
    assert reasons(flagged) == ["dropout"]


@pytest.mark.parametrize("hz", [50, 100, 200])
def test_a_sensor_unplugged_for_good_is_bad_where_the_rate_shows_it(hz):
    time_s = at_rate(hz, 60.0)
    values = np.where(time_s < 30.0, held_kpa(time_s), 0.0).astype(np.float32)
    flagged = judged(time_s, values, time_s < 50.0)
    turning = (time_s >= 30.0) & (time_s < 50.0)
    assert set(flagged.flags[turning]) == {BAD}
    assert set(flagged.flags[~turning]) == {GOOD}


@pytest.mark.parametrize("hz", [10, 12.5, 20])
def test_at_a_low_rate_a_fall_without_a_return_may_be_either(hz):
    time_s = at_rate(hz, 60.0)
    values = np.where(time_s < 30.0, held_kpa(time_s), 0.0).astype(np.float32)
    flagged = judged(time_s, values, time_s < 50.0)
    turning = (time_s >= 30.0) & (time_s < 50.0)
    assert set(flagged.flags[turning]) == {SUSPECT}
    (fault,) = flagged.faults
    assert fault.reason == "doubtful"
    assert fault.why == "it fell faster than oil does, but was not seen to come back"


def test_a_leap_down_and_a_slope_up_may_be_either():
    time_s = at_rate(100, 60.0)
    share = np.interp(time_s, [0, 30.0, 30.001, 35.0, 35.5, 60], [1, 1, 0, 0, 1, 1])
    flagged = judged(time_s, clipped(held_kpa(time_s) * share))
    assert BAD not in flagged.flags
    assert [fault.why for fault in flagged.faults] == [
        "it fell faster than oil does, but came back as oil does"
    ]


def test_a_slope_down_and_a_leap_up_may_be_either():
    time_s = at_rate(100, 60.0)
    share = np.interp(time_s, [0, 30.0, 30.5, 35.0, 35.001, 60], [1, 1, 0, 0, 1, 1])
    flagged = judged(time_s, clipped(held_kpa(time_s) * share))
    assert BAD not in flagged.flags
    assert [fault.why for fault in flagged.faults] == [
        "it fell as oil does, but came back faster than oil does"
    ]


def test_an_engine_that_runs_on_without_oil_makes_the_sensor_doubtful():
    time_s = at_rate(20, 200.0)
    values = clipped(held_kpa(time_s) * falling_away(time_s, 60.0, 0.2))
    flagged = judged(time_s, values)
    assert BAD not in flagged.flags
    assert [fault.why for fault in flagged.faults] == [
        "the engine turned on for 139 s, which it would hardly do without oil"
    ]


@RATES
def test_a_sensor_that_reads_nothing_all_through_is_unplugged(hz):
    time_s = at_rate(hz, 200.0)
    flagged = judged(time_s, np.zeros(len(time_s), np.float32), time_s > 5.0)
    assert set(flagged.flags[time_s > 5.0]) == {BAD}
    assert set(flagged.flags[time_s <= 5.0]) == {GOOD}
    assert reasons(flagged) == ["dropout"]


def test_an_engine_stopped_soon_for_want_of_pressure_counts():
    time_s = at_rate(20, 40.0)
    flagged = judged(time_s, np.zeros(800, np.float32), (time_s > 5.0) & (time_s < 20.0))
    assert BAD not in flagged.flags
    assert [fault.why for fault in flagged.faults] == [
        "it read nothing for as long as the engine turned"
    ]


def test_a_failed_start_and_a_stop_say_nothing():
    time_s = at_rate(20, 40.0)
    flagged = judged(time_s, np.zeros(800, np.float32), (time_s > 5.0) & (time_s < 8.0))
    assert set(flagged.flags) == {GOOD}


def test_a_moment_without_engine_speed_does_not_end_the_loss_of_a_sensor():
    time_s = at_rate(100, 60.0)
    values = np.where(time_s < 30.0, held_kpa(time_s), 0.0).astype(np.float32)
    turning = ~((time_s > 40.0) & (time_s < 40.5))
    flagged = judged(time_s, values, turning)
    assert set(flagged.flags[3000:]) == {BAD}
    assert len(flagged.faults) == 1
