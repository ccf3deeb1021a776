import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.ingest.quality.flags import flag_samples
from babbitt.model.channels import channels
from babbitt.model.run import BAD, GOOD

OIL = channels()["oil_pressure"].limits
RPM = channels()["rpm"].limits
COOLANT = channels()["coolant_temperature"].limits


def at_rate(hz, seconds):
    return np.arange(round(seconds * hz)) / hz


def running_oil(time_s, seed=0):
    """Invented oil pressure of a running engine: slow swing, pump ripple."""
    ripple = np.random.default_rng(seed).normal(0.0, 6.0, len(time_s))
    return (420.0 + 60.0 * np.sin(time_s / 3.0) + ripple).astype(np.float32)


def on(time_s):
    return np.ones(len(time_s), dtype=bool)


def bad_samples(flagged):
    return np.flatnonzero(flagged.flags == BAD).tolist()


@settings(deadline=None, max_examples=60)
@given(
    hz=st.sampled_from([10, 20, 50, 100, 200]),
    level=st.sampled_from([0.0, 12.5, -10.0, 1000.0]),
    begin=st.integers(5, 100),
    samples=st.integers(2, 60),
    seed=st.integers(0, 1000),
)
def test_an_unplugged_sensor_is_bad_at_any_level_and_rate(hz, level, begin, samples, seed):
    time_s = np.arange(200) / hz
    values = running_oil(time_s, seed)
    values[begin : begin + samples] = level
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    bad = set(bad_samples(flagged))
    assert set(range(begin, begin + samples)) <= bad
    # Noise may make the sample beside the stretch look like a part of it.
    assert bad <= set(range(begin - 1, begin + samples + 1))


def test_a_reading_caught_halfway_is_part_of_the_dropout():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[1000:1050] = 0.0
    values[999] = 210.0
    values[1050] = 190.0
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    assert bad_samples(flagged) == list(range(999, 1051))


def test_a_sensor_unplugged_until_the_log_ends():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[1700:] = 0.0
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    assert bad_samples(flagged) == list(range(1700, 2000))


def test_a_sensor_plugged_in_after_the_log_began():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[:300] = 0.0
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    assert bad_samples(flagged) == list(range(300))


def test_a_sensor_unplugged_into_a_gap_of_the_log():
    time_s = at_rate(100, 20)
    time_s[1100:] += 30.0
    values = running_oil(time_s)
    values[1000:1100] = 0.0
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    assert bad_samples(flagged) == list(range(1000, 1100))


def test_both_leaps_are_needed_where_nobody_knows_whether_the_engine_turned():
    time_s = at_rate(100, 20)
    rpm = (6000.0 + 50.0 * np.sin(time_s)).astype(np.float32)
    rpm[1000:1050] = 0.0
    rpm[1700:] = 0.0
    assert set(bad_samples(flag_samples(time_s, rpm, RPM))) == {*range(1000, 1050), 1700}


def test_a_shutdown_is_no_dropout():
    time_s = at_rate(100, 60)
    rpm = np.interp(time_s, [0, 30, 30.8], [1000, 1000, 0])
    rpm += np.where(rpm > 0, 5.0 * np.sin(40.0 * time_s), 0.0)
    oil = np.where(time_s < 30.2, 200.0, 200.0 * np.exp(-(time_s - 30.2) / 0.4))
    oil += np.where(rpm > 0, np.random.default_rng(2).normal(0, 5, len(time_s)), 0.0)
    oil = np.where(time_s < 34.0, oil, 0.0).astype(np.float32)
    assert BAD not in flag_samples(time_s, oil, OIL, turning=rpm > 200).flags
    assert BAD not in flag_samples(time_s, rpm.astype(np.float32), RPM, turning=rpm > 200).flags


def test_a_start_is_no_dropout():
    time_s = at_rate(100, 30)
    rpm = np.interp(time_s, [0, 10, 10.1, 11, 11.3], [0, 0, 250, 250, 1200])
    rpm += np.where(rpm > 0, 5.0 * np.sin(40.0 * time_s), 0.0)
    oil = np.interp(time_s, [0, 10.6, 10.9], [0.0, 0.0, 420.0])
    oil += np.where(oil > 0, np.random.default_rng(2).normal(0, 5, len(time_s)), 0.0)
    assert BAD not in flag_samples(time_s, oil.astype(np.float32), OIL, turning=rpm > 200).flags
    assert BAD not in flag_samples(time_s, rpm.astype(np.float32), RPM, turning=rpm > 200).flags


@pytest.mark.parametrize("step_kpa", [2.0, 10.0])
def test_a_collapse_in_a_coarse_slow_channel_is_no_dropout(step_kpa):
    time_s = at_rate(10, 120)
    values = running_oil(time_s)
    values[500:506] = [300.0, 42.0, 41.0, 39.0, 220.0, 430.0]
    coarse = (np.round(values / step_kpa) * step_kpa).astype(np.float32)
    assert BAD not in flag_samples(time_s, coarse, OIL, turning=on(time_s)).flags


@pytest.mark.parametrize("level", [-40.0, 0.0, 125.0, 150.0])
@pytest.mark.parametrize("hz", [1, 10, 100])
def test_a_broken_wire_of_a_thermometer(hz, level):
    time_s = at_rate(hz, 300)
    values = np.round(88.0 + 4.0 * np.sin(time_s / 60.0), 1).astype(np.float32)
    first, last = 100 * hz, 105 * hz
    values[first:last] = level
    flagged = flag_samples(time_s, values, COOLANT, turning=on(time_s))
    assert set(range(first, last)) <= set(bad_samples(flagged)) <= set(range(first - 1, last + 1))


def test_an_engine_at_rest_is_not_stuck_but_one_stuck_at_speed_is():
    time_s = at_rate(100, 60)
    rpm = np.where(time_s < 30.0, 0.0, 6000.0).astype(np.float32)
    assert bad_samples(flag_samples(time_s, rpm, RPM, turning=rpm > 200)) == list(range(3000, 6000))


def test_a_noisy_rail_is_a_dropout():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[1000:1200] = -20.0 + np.random.default_rng(4).normal(0, 1, 200)
    flagged = flag_samples(time_s, values, OIL, turning=on(time_s))
    assert bad_samples(flagged) == list(range(1000, 1200))
    assert [fault.reason for fault in flagged.faults] == ["dropout"]


def test_samples_around_a_dropout_stay_good():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[1000:1200] = 0.0
    flags = flag_samples(time_s, values, OIL, turning=on(time_s)).flags
    assert set(np.delete(flags, np.arange(1000, 1200))) == {GOOD}
