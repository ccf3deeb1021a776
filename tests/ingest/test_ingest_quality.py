from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.ingest.quality.checks import flat_line, gross_range, merge, rate_of_change, spike
from babbitt.ingest.quality.flags import Fault, flag_samples, quality_sentences
from babbitt.model.channels import channels
from babbitt.model.engine_running import interval_s
from babbitt.model.run import BAD, GOOD, MISSING, NOT_EVALUATED, SUSPECT, Run, RunInfo, Signal

OIL = channels()["oil_pressure"].limits
RPM = channels()["rpm"].limits
COOLANT = channels()["coolant_temperature"].limits


def said_of(run, faults):
    seconds = interval_s(run.time_s, run.info.max_gap_s)
    rates_hz = {name: signal.native_hz for name, signal in run.signals.items()}
    missing_s = {
        name: float(seconds[signal.flags == MISSING].sum()) for name, signal in run.signals.items()
    }
    return quality_sentences(rates_hz, faults, missing_s, float(seconds.sum()))


def at_rate(hz, seconds):
    return np.arange(round(seconds * hz)) / hz


def running_oil(time_s, seed=0):
    """Invented oil pressure of a running engine: slow swing, pump ripple."""
    ripple = np.random.default_rng(seed).normal(0.0, 6.0, len(time_s))
    return (420.0 + 60.0 * np.sin(time_s / 3.0) + ripple).astype(np.float32)


def turning(time_s):
    return np.ones(len(time_s), dtype=bool)


def reasons(flagged):
    return [fault.reason for fault in flagged.faults]


def test_clean_channel_is_good_throughout():
    time_s = at_rate(100, 60)
    flagged = flag_samples(time_s, running_oil(time_s), OIL, turning=turning(time_s))
    assert set(flagged.flags) == {GOOD}
    assert flagged.faults == ()


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_channels_of_a_few_samples_are_judged(count):
    flagged = flag_samples(np.arange(count) / 10.0, np.full(count, 300, np.float32), OIL)
    assert flagged.flags.tolist() == [GOOD] * count
    assert flagged.flags.dtype == np.uint8


def test_missing_samples_stay_missing_and_hide_nothing_beside_them():
    time_s = at_rate(100, 10)
    values = running_oil(time_s)
    values[[300, 302, 700]] = np.nan
    values[301] = 900.0
    flagged = flag_samples(time_s, values, OIL)
    assert flagged.flags[[300, 301, 302, 700]].tolist() == [MISSING, BAD, MISSING, MISSING]
    assert np.count_nonzero(flagged.flags != GOOD) == 4


def test_a_spike_is_bad_and_its_neighbours_are_not():
    time_s = at_rate(100, 10)
    rpm = np.full(1000, 6000, np.float32) + np.arange(1000, dtype=np.float32)
    rpm[500] = 14_900
    flagged = flag_samples(time_s, rpm, RPM)
    assert np.flatnonzero(flagged.flags == BAD).tolist() == [500]
    assert flagged.faults == (Fault("spike", 5.0, 5.01, 14_900.0),)


def test_an_ordinary_peak_of_a_slow_channel_is_no_spike():
    rpm = np.tile(np.array([5000, 7900], np.float32), 30)
    assert set(flag_samples(at_rate(1, 60), rpm, RPM).flags) == {GOOD}


def test_a_step_is_no_spike():
    time_s = at_rate(10, 4)
    values = np.where(time_s < 2.0, 400.0, 200.0).astype(np.float32)
    assert set(spike(time_s, values, (120.0, 250.0))[1:-1]) == {GOOD}


def test_a_spike_in_a_repeated_slow_channel_is_found():
    native = running_oil(at_rate(10, 60))
    native[300] = 0.0
    time_s, values = at_rate(100, 60), np.repeat(native, 10)
    flagged = flag_samples(time_s, values, OIL, turning=turning(time_s))
    assert np.flatnonzero(flagged.flags == BAD).tolist() == list(range(3000, 3010))
    assert reasons(flagged) == ["spike"]


@pytest.mark.parametrize("repeats", [2, 3, 10, 25])
def test_a_repeated_slow_channel_is_judged_at_its_own_rate(repeats):
    native = running_oil(at_rate(10, 60))
    native[200:204] = [300.0, 60.0, 80.0, 330.0]  # a real collapse, 2,400 kPa/s
    time_s = at_rate(10 * repeats, 60)
    flagged = flag_samples(time_s, np.repeat(native, repeats), OIL, turning=turning(time_s))
    assert BAD not in flagged.flags


def test_a_real_collapse_of_pressure_stays_usable():
    time_s = at_rate(100, 30)
    rng = np.random.default_rng(3)
    values = np.interp(time_s, [0, 10, 10.12, 11, 11.15, 30], [450, 450, 90, 70, 440, 450])
    values += rng.normal(0.0, 8.0, len(time_s))
    flags = flag_samples(time_s, values.astype(np.float32), OIL, turning=turning(time_s)).flags
    assert BAD not in flags


@settings(deadline=None, max_examples=60)
@given(
    hz=st.sampled_from([10, 20, 50, 100, 200, 1000]),
    top=st.floats(250.0, 600.0),
    bottom=st.floats(20.0, 150.0),
    rate=st.floats(200.0, 2900.0),
    low_s=st.floats(0.2, 2.0),
    seed=st.integers(0, 1000),
)
def test_no_sloped_collapse_is_ever_bad(hz, top, bottom, rate, low_s, seed):
    fall_s = (top - bottom) / rate
    knots_s = np.cumsum([0.0, 5.0, fall_s, low_s, fall_s, 5.0])
    time_s = at_rate(hz, knots_s[-1])
    values = np.interp(time_s, knots_s, [top, top, bottom, bottom, top, top])
    values += np.random.default_rng(seed).uniform(-2.0, 2.0, len(time_s))
    flagged = flag_samples(time_s, values.astype(np.float32), OIL, turning=turning(time_s))
    assert BAD not in flagged.flags


@pytest.mark.parametrize("hz", [10, 50, 100, 1000])
def test_noise_at_any_rate_is_not_a_change_too_fast(hz):
    time_s = at_rate(hz, 20)
    noisy = running_oil(time_s) + np.random.default_rng(5).uniform(-40, 40, len(time_s))
    flags = flag_samples(time_s, noisy.astype(np.float32), OIL, turning=turning(time_s)).flags
    assert set(flags) == {GOOD}


def test_coarse_steps_of_a_thermometer_are_not_a_change_too_fast():
    time_s = at_rate(100, 60)
    coarse = np.round(80.0 + time_s / 4.0).astype(np.float32)
    assert set(flag_samples(time_s, coarse, COOLANT, turning=turning(time_s)).flags) == {GOOD}


def test_a_lone_impossible_step_is_bad():
    time_s = at_rate(100, 20)
    values = running_oil(time_s) + np.where(time_s < 10.0, 0.0, 500.0).astype(np.float32)
    flagged = flag_samples(time_s, values, OIL, turning=turning(time_s))
    assert np.flatnonzero(flagged.flags == BAD).tolist() == [1000]
    assert reasons(flagged) == ["rate"]


def test_a_reading_beyond_the_sensor_is_out_of_range():
    time_s = at_rate(100, 10)
    values = running_oil(time_s)
    values[400:500] = 1500.0
    flagged = flag_samples(time_s, values, OIL, turning=turning(time_s))
    assert flagged.faults == (Fault("range", 4.0, 5.0, 1500.0),)
    assert np.flatnonzero(flagged.flags != GOOD).tolist() == list(range(400, 500))


def test_a_stuck_sensor_is_bad_from_its_first_equal_sample():
    time_s = at_rate(100, 30)
    values = running_oil(time_s)
    values[1000:1500] = values[1000]
    flagged = flag_samples(time_s, values, OIL, turning=turning(time_s))
    assert np.flatnonzero(flagged.flags == BAD).tolist() == list(range(1000, 1500))
    assert reasons(flagged) == ["stuck"]


def test_a_shorter_flat_stretch_is_suspect():
    time_s = at_rate(100, 30)
    values = running_oil(time_s)
    values[1000:1200] = values[1000]
    flagged = flag_samples(time_s, values, OIL, turning=turning(time_s))
    assert set(flagged.flags[1000:1200]) == {SUSPECT}
    assert flagged.faults == ()


def test_a_flat_line_counts_only_while_the_engine_turns():
    time_s = at_rate(100, 60)
    values = running_oil(time_s)
    values[:3000] = 300.0
    assert BAD not in flag_samples(time_s, values, OIL, turning=time_s >= 29.0).flags[:3000]
    assert set(flag_samples(time_s, values, OIL, turning=time_s >= 20.0).flags[:3000]) == {BAD}


def test_a_flat_line_never_spans_a_gap():
    time_s = at_rate(100, 6)
    time_s[300:] += 60.0
    flat = flat_line(time_s, np.zeros(600, np.float32), 0.0, 1.5, 4.0, max_gap_s=0.5)
    assert set(flat) == {SUSPECT}


def test_a_flat_line_may_span_a_sample_that_turning_does_not_know():
    time_s = at_rate(100, 10)
    known = turning(time_s)
    known[200:800:50] = False
    flat = flat_line(time_s, np.zeros(1000, np.float32), 0.0, 1.5, 4.0, turning=known)
    assert set(flat) == {BAD}


def test_a_thermometer_that_repeats_one_value_a_second_is_not_flat():
    native = 90.0 + np.sin(np.arange(600) / 40.0)
    time_s, values = at_rate(100, 600), np.repeat(native, 100).astype(np.float32)
    assert set(flag_samples(time_s, values, COOLANT, turning=turning(time_s)).flags) == {GOOD}


def test_a_flat_line_with_a_tolerance_follows_the_window_not_the_neighbours():
    ramp = (0.01 * np.arange(1000)).astype(np.float32)  # neighbours alike, the window is not
    assert set(flat_line(at_rate(10, 100), ramp, 0.05, 2.0, 5.0)) == {GOOD}
    ramp[400:470] = ramp[400]
    flags = flat_line(at_rate(10, 100), ramp, 0.05, 2.0, 5.0)
    bad = np.flatnonzero(flags == BAD)
    assert bad.min() >= 390
    assert bad.max() <= 475
    assert set(flags[400:470]) == {BAD}


def test_left_out_flat_line_says_not_evaluated():
    flags = flat_line(at_rate(10, 1), np.zeros(10, np.float32), 0.0, 0.0, 0.0)
    assert set(flags) == {NOT_EVALUATED}


def test_suspect_span_outside_fail_span_is_refused():
    with pytest.raises(ValueError, match="must lie within"):
        gross_range(np.zeros(3, np.float32), (0.0, 10.0), (-5.0, 8.0))


def test_checks_do_not_change_their_input():
    time_s = at_rate(100, 5)
    values = running_oil(time_s)
    values[[10, 11, 12, 13]] = [0.0, np.nan, 2000.0, 0.0]
    before_s, before = time_s.copy(), values.copy()
    flag_samples(time_s, values, OIL, turning=turning(time_s))
    np.testing.assert_array_equal(time_s, before_s)
    np.testing.assert_array_equal(values, before)


@given(st.lists(st.lists(st.sampled_from([1, 2, 3, 4, 9]), min_size=3, max_size=3), min_size=1))
def test_merge_follows_the_precedence(columns):
    order = [GOOD, SUSPECT, BAD, MISSING]
    merged = merge(*np.array(columns, np.uint8))
    for column, flag in zip(np.array(columns).T, merged, strict=True):
        known = [f for f in column if f != NOT_EVALUATED]
        assert flag == (max(known, key=order.index) if known else NOT_EVALUATED)


@settings(deadline=None, max_examples=60)
@given(
    values=st.lists(
        st.one_of(st.floats(-3000, 3000, width=32), st.just(float("nan")), st.just(0.0)),
        max_size=80,
    ),
    hz=st.sampled_from([1, 10, 100]),
    engine_on=st.booleans(),
)
def test_flags_have_the_shape_of_the_values_and_missing_is_where_nan_is(values, hz, engine_on):
    array = np.array(values, np.float32)
    time_s = np.arange(len(array)) / hz
    flagged = flag_samples(time_s, array, OIL, turning=np.full(len(array), engine_on))
    assert flagged.flags.shape == array.shape
    np.testing.assert_array_equal(flagged.flags == MISSING, np.isnan(array))
    assert set(flagged.flags) <= {GOOD, SUSPECT, BAD, MISSING}
    sure = [fault for fault in flagged.faults if fault.reason != "doubtful"]
    assert bool(sure) == (BAD in flagged.flags)


def test_infinite_readings_are_bad():
    values = np.array([300, np.inf, np.inf, 300, -np.inf, 310, 300], np.float32)
    flags = flag_samples(np.arange(7) / 100.0, values, OIL).flags
    assert flags.tolist() == [GOOD, BAD, BAD, GOOD, BAD, GOOD, GOOD]


def test_real_time_steps_decide_a_rate():
    values = np.array([0, 10, 20, 30], np.float32)
    even = rate_of_change(np.array([0.0, 1.0, 2.0, 3.0]), values, (20.0, 50.0))
    uneven = rate_of_change(np.array([0.0, 1.0, 1.4, 1.5]), values, (20.0, 50.0))
    assert even.tolist() == [GOOD] * 4
    assert uneven.tolist() == [GOOD, GOOD, SUSPECT, BAD]


def a_run(time_s, **signals):
    info = RunInfo(
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
    return Run(info, time_s, signals)


def a_signal(values, flags, name):
    return Signal(values, flags, channels()[name].unit.symbol, 100.0, name)


def sentence_of(name, time_s, values):
    limits = channels()[name].limits
    flagged = flag_samples(time_s, values, limits, turning=turning(time_s))
    run = a_run(time_s, **{name: a_signal(values, flagged.flags, name)})
    (sentence,) = said_of(run, {name: flagged.faults})
    return sentence


def test_sentence_for_an_unplugged_sensor():
    time_s = at_rate(100, 60)
    values = running_oil(time_s)
    values[1000:1090] = 0.0
    values[3000:3330] = 0.0
    assert sentence_of("oil_pressure", time_s, values) == (
        "Oil pressure unplugged 2 times, 4.2 s in all, longest 3.3 s at 30.0 s; "
        "not counted as harm."
    )


def test_sentence_for_a_reading_that_may_be_a_loss_of_oil():
    time_s = at_rate(20, 60)
    values = running_oil(time_s)
    values[1000:] = 0.0
    assert sentence_of("oil_pressure", time_s, values) == (
        "Oil pressure reads 0.0 kPa for 10.0 s, from 50.0 s to 60.0 s: it fell faster than oil "
        "does, but was not seen to come back; either the oil was lost or the sensor was, so it "
        "counts with low confidence: settle it in a review."
    )


def test_sentence_for_spikes():
    time_s = at_rate(100, 60)
    rpm = np.full(6000, 6000, np.float32) + np.arange(6000) % 7
    rpm[[3120, 4000]] = [14_900, 0]
    assert sentence_of("rpm", time_s, rpm.astype(np.float32)) == (
        "Engine speed has 2 single-sample spikes (first at 31.2 s, 14,900 1/min); not counted."
    )


def test_sentence_for_a_stuck_sensor():
    time_s = at_rate(10, 1000)
    values = (91.0 + np.sin(time_s / 50.0)).astype(np.float32)
    values[1200:9000] = 91.0
    assert sentence_of("coolant_temperature", time_s, values) == (
        "Coolant temperature stuck at 91.0 °C for 780.0 s, from 120.0 s to 900.0 s; "
        "that time counts as not watched."
    )


def test_sentence_for_a_reading_out_of_range():
    time_s = at_rate(100, 20)
    values = running_oil(time_s)
    values[400:500] = 1500.0
    assert sentence_of("oil_pressure", time_s, values) == (
        "Oil pressure reads beyond its sensor's range for 1.0 s, from 4.0 s to 5.0 s "
        "(first 1,500 kPa at 4.0 s); not counted."
    )


def test_sentence_for_a_lone_impossible_step():
    time_s = at_rate(100, 20)
    values = running_oil(time_s) + np.where(time_s < 10.0, 0.0, 500.0).astype(np.float32)
    assert sentence_of("oil_pressure", time_s, values) == (
        "Oil pressure has 1 impossible step (at 10.0 s); not counted."
    )


def test_sentence_for_missing_samples():
    time_s = at_rate(10, 400)
    values = np.full(4000, 50.0, np.float32) + np.random.default_rng(1).normal(0, 3, 4000)
    values[1000:1120] = np.nan
    assert sentence_of("boost", time_s, values.astype(np.float32)) == (
        "Boost is missing for 12.0 s (3% of the run)."
    )


def test_a_sentence_for_each_channel_and_reason_in_the_order_of_the_catalogue():
    time_s = at_rate(100, 10)
    good = np.full(1000, GOOD, np.uint8)
    run = a_run(
        time_s,
        oil_pressure=a_signal(running_oil(time_s), good, "oil_pressure"),
        rpm=a_signal(running_oil(time_s), good, "rpm"),
    )
    faults = {
        "oil_pressure": (Fault("dropout", 1.0, 2.0, 0.0), Fault("spike", 5.0, 5.01, 900.0)),
        "rpm": (Fault("spike", 4.0, 4.01, 14_900.0),),
    }
    assert [said.split()[0:3] for said in said_of(run, faults)] == [
        ["Engine", "speed", "has"],
        ["Oil", "pressure", "has"],
        ["Oil", "pressure", "unplugged"],
    ]


def test_the_ends_of_a_very_slow_channel_are_not_missing():
    time_s = at_rate(10, 60)
    flags = np.full(600, GOOD, np.uint8)
    flags[-39:] = MISSING
    values = np.full(600, 90.0, np.float32)
    slow = Signal(values, flags, "°C", 0.25, "ECT")
    assert said_of(a_run(time_s, coolant_temperature=slow), {}) == ()


def test_short_blanks_and_channels_of_no_canonical_name_get_no_sentence():
    time_s = at_rate(10, 60)
    flags = np.full(600, GOOD, np.uint8)
    flags[:8] = MISSING
    boost = Signal(np.zeros(600, np.float32), flags, "kPa", 10.0, "Boost")
    other = Signal(np.zeros(600, np.float32), np.full(600, MISSING, np.uint8), "", 10.0, "X")
    assert said_of(a_run(time_s, boost=boost, x=other), {}) == ()


def test_a_channel_without_limits_on_flat_lines_may_rest():
    rest = np.full(3000, 300.0, np.float32)
    limits = replace(OIL, flat_suspect_s=0.0, flat_fail_s=0.0)
    time_s = at_rate(100, 30)
    assert set(flag_samples(time_s, rest, limits, turning=turning(time_s)).flags) == {GOOD}


def test_flat_lines_are_not_judged_where_nobody_knows_whether_the_engine_turned():
    rest = np.full(3000, 300.0, np.float32)
    assert set(flag_samples(at_rate(100, 30), rest, OIL).flags) == {GOOD}
