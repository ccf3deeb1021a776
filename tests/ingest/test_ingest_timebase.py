import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from pipeline.catalogue import channels
from pipeline.ingest.timebase import (
    Placed,
    TimeBase,
    about_gaps,
    about_repeats,
    make_base,
    on_base,
    place,
)
from pipeline.run import BAD, GOOD, MISSING, NOT_EVALUATED, ChannelArray, FloatArray

NAN = np.nan


def values_of(*values: float) -> ChannelArray:
    return np.array(values, dtype=np.float32)


def base_of(time_s: FloatArray) -> TimeBase:
    return make_base(np.asarray(time_s, dtype=np.float64))


def placed(values: ChannelArray, base: TimeBase, *, hold: bool = False) -> Placed:
    return place(values, base, None, turning=None, hold=hold)


def test_base_starts_at_zero_and_has_each_time_once() -> None:
    base = make_base(np.array([5.0, 5.1, NAN, 5.1, 5.2]))
    np.testing.assert_allclose(base.time_s, [0.0, 0.1, 0.2])
    assert base.rows is not None
    assert base.rows.tolist() == [0, 1, 4]
    assert base.repeats.tolist() == [3]


def test_base_of_clean_rows_is_all_of_them() -> None:
    base = make_base(np.arange(5) * 0.1)
    assert base.rows is None
    assert on_base(values := values_of(1, 2, 3, 4, 5), base) is values


@pytest.mark.parametrize(("step_s", "gap_s"), [(0.01, 0.5), (0.5, 1.5), (1.0, 3.0)])
def test_gap_is_half_a_second_or_three_steps(step_s: float, gap_s: float) -> None:
    assert base_of(np.arange(20) * step_s).max_gap_s == pytest.approx(gap_s)


def test_first_value_that_is_not_blank_counts_where_rows_repeat_a_time() -> None:
    base = base_of(np.array([0.0, 0.1, 0.1, 0.1, 0.2]))
    assert on_base(values_of(1, 2, 3, 4, 5), base).tolist() == [1, 2, 5]
    assert on_base(values_of(1, NAN, 3, 4, 5), base).tolist() == [1, 3, 5]


def test_gaps_are_told_with_the_longest_of_them() -> None:
    steady = np.arange(0.0, 5.0, 0.1)
    assert about_gaps(base_of(steady)) == []
    (one,) = about_gaps(base_of(np.append(steady, steady + 45.0)))
    assert "40.1 s from 4.9 s" in one
    (two,) = about_gaps(base_of(np.concatenate([steady, steady + 45.0, steady + 60.0])))
    assert "2 gaps" in two
    assert "50.2 s in all, the longest 40.1 s from 4.9 s" in two


def test_repeated_rows_are_told_with_those_that_contradict() -> None:
    base = base_of(np.array([0.0, 0.1, 0.1, 0.2, 0.2]))
    columns = [values_of(1, 2, 2, 3, 4), values_of(1, NAN, 2, 3, NAN)]
    (said,) = about_repeats(base, columns, lambda row: row + 2)
    assert said.startswith("2 rows repeat the time of a row before, 1 with other values")
    assert "(the first in line 4)" in said
    assert about_repeats(base_of(np.arange(3.0)), columns, lambda row: row) == []


def test_channel_at_every_time_is_passed_on_untouched() -> None:
    values = values_of(*range(10))
    result = placed(values, base_of(np.arange(10) * 0.1))
    assert result.values is values
    assert result.native_hz == pytest.approx(10.0)
    assert set(result.flags.tolist()) == {NOT_EVALUATED}


def test_slow_channel_is_interpolated_between_its_samples_only() -> None:
    values = values_of(NAN, 10, NAN, NAN, NAN, NAN, 20, NAN, NAN, NAN, NAN, 10, NAN)
    result = placed(values, base_of(np.arange(13) * 0.1))
    np.testing.assert_allclose(
        result.values, [NAN, 10, 12, 14, 16, 18, 20, 18, 16, 14, 12, 10, NAN], rtol=1e-6
    )
    assert result.flags.tolist() == [MISSING, *[NOT_EVALUATED] * 11, MISSING]
    assert result.native_hz == pytest.approx(2.0)


def test_slow_channel_that_changes_in_steps_keeps_the_value_before() -> None:
    values = values_of(3, NAN, NAN, NAN, 4, NAN, NAN, NAN, 5)
    result = placed(values, base_of(np.arange(9) * 0.1), hold=True)
    assert result.values.tolist() == [3, 3, 3, 3, 4, 4, 4, 4, 5]


def test_interpolation_never_crosses_a_gap_of_the_channel() -> None:
    time_s = np.arange(40) * 0.1
    values = np.full(40, NAN, dtype=np.float32)
    values[[0, 2, 4, 6, 8, 16, 18, 20, 22]] = 1.0
    result = placed(values, base_of(time_s))
    assert np.isnan(result.values[9:16]).all()
    assert (result.flags[9:16] == MISSING).all()
    assert not np.isnan(result.values[16:23]).any()


def test_interpolation_never_crosses_a_gap_of_the_log() -> None:
    time_s = np.concatenate([np.arange(10) * 0.1, 5.0 + np.arange(10) * 0.1])
    values = np.full(20, NAN, dtype=np.float32)
    values[[0, 3, 6, 13, 16, 19]] = 1.0
    missing = np.flatnonzero(placed(values, base_of(time_s)).flags == MISSING)
    assert missing.tolist() == [7, 8, 9, 10, 11, 12]


def test_single_blanks_of_a_full_rate_channel_are_missing_not_interpolated() -> None:
    values = np.arange(50, dtype=np.float32)
    values[[7, 20, 21, 40]] = NAN
    result = placed(values, base_of(np.arange(50) * 0.1))
    assert np.flatnonzero(np.isnan(result.values)).tolist() == [7, 20, 21, 40]
    assert np.flatnonzero(result.flags == MISSING).tolist() == [7, 20, 21, 40]


def test_rows_at_which_a_fast_channel_was_not_due_are_interpolated() -> None:
    times = sorted({i * 20 for i in range(51)} | {i * 50 for i in range(21)})
    time_s = np.array(times) / 1000.0
    fast = np.array([t if t % 20 == 0 else NAN for t in times], dtype=np.float32)
    slow = np.array([t if t % 50 == 0 else NAN for t in times], dtype=np.float32)
    fast[times.index(200)] = NAN
    for values, hz in ((fast, 50.0), (slow, 20.0)):
        result = placed(values, base_of(time_s))
        assert result.native_hz == pytest.approx(hz)
        known = ~np.isnan(result.values)
        np.testing.assert_allclose(result.values[known], time_s[known] * 1000.0, rtol=1e-5)
        lost = [t for t, ok in zip(times, known, strict=True) if not ok]
        assert lost == ([200] if values is fast else [])


def test_sample_beside_a_bad_one_is_bad() -> None:
    limits = channels()["rpm"].limits
    values = values_of(2000, NAN, 2000, NAN, 20000, NAN, 2000, NAN, 2000, NAN, 2010)
    result = place(values, base_of(np.arange(11) * 0.1), limits, turning=None, hold=False)
    assert result.flags.tolist() == [GOOD, GOOD, GOOD, BAD, BAD, BAD, *[GOOD] * 5]
    assert [fault.reason for fault in result.faults] == ["range"]


@given(
    steps=st.lists(st.sampled_from([0.05, 0.1, 0.2, 0.7, 3.0]), min_size=5, max_size=60),
    present=st.data(),
)
def test_placed_values_lie_between_their_neighbours_and_native_ones_stay(
    steps: list[float], present: st.DataObject
) -> None:
    base = base_of(np.cumsum(steps))
    keep = present.draw(st.lists(st.booleans(), min_size=len(steps), max_size=len(steps)))
    values = np.where(keep, np.arange(len(steps)) % 7, NAN).astype(np.float32)
    result = placed(values, base)
    own = np.flatnonzero(keep)
    np.testing.assert_array_equal(result.values[own], values[own])
    assert (np.isnan(result.values) == (result.flags == MISSING)).all()
    for i in np.flatnonzero(~np.isnan(result.values)):
        before, after = own[own <= i][-1], own[own >= i][0]
        low, high = sorted((values[before], values[after]))
        assert low <= result.values[i] <= high
        assert before == after or base.time_s[after] - base.time_s[before] <= max(
            0.5, 3.0 * float(np.median(np.diff(base.time_s[own]))) + 1e-9
        )
