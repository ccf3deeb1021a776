from collections.abc import Sequence
from itertools import pairwise

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from babbitt.ingest.columns.store import SampleStore
from babbitt.ingest.time.timebase import (
    CLOCK_SET_S,
    BaseBuilder,
    Pace,
    Placed,
    about_gaps,
    pace_of,
    place,
)
from babbitt.model.channels import FlagLimits, channels
from babbitt.model.run import BAD, GOOD, MISSING, NOT_EVALUATED, ChannelArray, FloatArray

NAN = np.nan


def values_of(*values: float) -> ChannelArray:
    return np.array(values, dtype=np.float32)


def based(
    seconds: Sequence[float], *columns: Sequence[float], cuts: Sequence[int] = ()
) -> tuple[FloatArray, list[ChannelArray], tuple[str, ...]]:
    """Bring rows to their base, in blocks cut before some of them; row n lies in line n + 2."""
    store = SampleStore(range(len(columns)))
    builder = BaseBuilder(store)
    arrays = [values_of(*column) for column in columns]
    for a, b in pairwise([0, *cuts, len(seconds)]):
        numbers = {i: array[a:b] for i, array in enumerate(arrays)}
        builder.add(np.array(seconds[a:b]), numbers, lambda row, a=a: a + row + 2)
    said = builder.finish()
    read = [store.column(i, 0, store.samples) for i in range(len(columns))]
    return store.time_s(0, store.samples), read, said


def stored(time_s: FloatArray, values: ChannelArray) -> SampleStore:
    store = SampleStore([0])
    store.append(time_s, {0: values})
    return store


def pace(values: ChannelArray, time_s: FloatArray) -> Pace:
    return pace_of(stored(time_s, values), 0)


def placed(
    values: ChannelArray,
    time_s: FloatArray,
    *,
    hold: bool = False,
    limits: FlagLimits | None = None,
) -> Placed:
    return place(values, time_s, pace(values, time_s), limits, turning=None, hold=hold)


@pytest.mark.parametrize("cuts", [(), (3,), (1, 2, 3, 4)])
def test_base_starts_at_zero_and_has_each_time_once(cuts: tuple[int, ...]) -> None:
    time_s, (values,), _ = based([5.0, 5.1, NAN, 5.1, 5.2], [1, 2, 3, 4, 5], cuts=cuts)
    np.testing.assert_allclose(time_s, [0.0, 0.1, 0.2])
    assert values.tolist() == [1, 2, 5]


@pytest.mark.parametrize(("step_s", "gap_s"), [(0.01, 0.5), (0.5, 1.5), (1.0, 3.0)])
def test_gap_is_half_a_second_or_three_steps(step_s: float, gap_s: float) -> None:
    time_s = np.arange(20) * step_s
    assert pace_of(stored(time_s, values_of(*time_s))).gap_s == pytest.approx(gap_s)


@pytest.mark.parametrize("cuts", [(), (2,), (3,), (2, 3)])
def test_first_value_that_is_not_blank_counts_where_rows_repeat_a_time(
    cuts: tuple[int, ...],
) -> None:
    times = [0.0, 0.1, 0.1, 0.1, 0.2]
    columns = [1, 2, 3, 4, 5], [1, NAN, 3, 4, 5], [1, NAN, NAN, 4, NAN]
    _, (full, gap, long_gap), _ = based(times, *columns, cuts=cuts)
    assert full.tolist() == [1, 2, 5]
    assert gap.tolist() == [1, 3, 5]
    assert long_gap.tolist()[:2] == [1, 4]


def test_gaps_are_told_with_the_longest_of_them() -> None:
    steady = np.arange(0.0, 5.0, 0.1)
    assert about_gaps([steady], 0.5) == []
    for pieces in ([np.append(steady, steady + 45.0)], [steady, steady + 45.0]):
        (one,) = about_gaps(pieces, 0.5)
        assert "40.1 s from 4.9 s" in one
    (two,) = about_gaps([np.concatenate([steady, steady + 45.0, steady + 60.0])], 0.5)
    assert "2 gaps" in two
    assert "50.2 s in all, the longest 40.1 s from 4.9 s" in two


@pytest.mark.parametrize("cuts", [(), (2,), (1, 2, 3, 4)])
def test_repeated_rows_are_told_with_those_that_contradict(cuts: tuple[int, ...]) -> None:
    times = [0.0, 0.1, 0.1, 0.2, 0.2]
    _, _, (said,) = based(times, [1, 2, 2, 3, 4], [1, NAN, 2, 3, NAN], cuts=cuts)
    assert said.startswith("2 rows repeat the time of a row before, 1 with other values")
    assert "(the first in line 4)" in said
    assert based([0.0, 1.0, 2.0], [1, 2, 3])[2] == ()


@given(
    rows=st.lists(
        st.tuples(st.sampled_from([0.0, 0.0, 0.1, NAN]), st.sampled_from([NAN, 1.0, 2.0])),
        min_size=2,
        max_size=30,
    ),
    cuts=st.sets(st.integers(1, 29)),
)
def test_base_does_not_depend_on_how_rows_come_in_blocks(
    rows: list[tuple[float, float]], cuts: set[int]
) -> None:
    steps = np.array([step for step, _ in rows])
    seconds = np.where(np.isnan(steps), NAN, np.cumsum(np.nan_to_num(steps))).tolist()
    column = [value for _, value in rows]
    whole = based(seconds, column)
    cut = based(seconds, column, cuts=sorted(each for each in cuts if each < len(rows)))
    np.testing.assert_array_equal(cut[0], whole[0])
    np.testing.assert_array_equal(cut[1][0], whole[1][0])
    assert cut[2] == whole[2]


def test_channel_at_every_time_is_passed_on_untouched() -> None:
    values = values_of(*range(10))
    result = placed(values, np.arange(10) * 0.1)
    assert result.values is values
    assert pace(values, np.arange(10) * 0.1).rate_hz == pytest.approx(10.0)
    assert set(result.flags.tolist()) == {NOT_EVALUATED}


def test_slow_channel_is_interpolated_between_its_samples_only() -> None:
    values = values_of(NAN, 10, NAN, NAN, NAN, NAN, 20, NAN, NAN, NAN, NAN, 10, NAN)
    result = placed(values, np.arange(13) * 0.1)
    np.testing.assert_allclose(
        result.values, [NAN, 10, 12, 14, 16, 18, 20, 18, 16, 14, 12, 10, NAN], rtol=1e-6
    )
    assert result.flags.tolist() == [MISSING, *[NOT_EVALUATED] * 11, MISSING]
    assert pace(values, np.arange(13) * 0.1).rate_hz == pytest.approx(2.0)


def test_slow_channel_that_changes_in_steps_keeps_the_value_before() -> None:
    values = values_of(3, NAN, NAN, NAN, 4, NAN, NAN, NAN, 5)
    result = placed(values, np.arange(9) * 0.1, hold=True)
    assert result.values.tolist() == [3, 3, 3, 3, 4, 4, 4, 4, 5]


def test_interpolation_never_crosses_a_gap_of_the_channel() -> None:
    time_s = np.arange(40) * 0.1
    values = np.full(40, NAN, dtype=np.float32)
    values[[0, 2, 4, 6, 8, 16, 18, 20, 22]] = 1.0
    result = placed(values, time_s)
    assert np.isnan(result.values[9:16]).all()
    assert (result.flags[9:16] == MISSING).all()
    assert not np.isnan(result.values[16:23]).any()


def test_interpolation_never_crosses_a_gap_of_the_log() -> None:
    time_s = np.concatenate([np.arange(10) * 0.1, 5.0 + np.arange(10) * 0.1])
    values = np.full(20, NAN, dtype=np.float32)
    values[[0, 3, 6, 13, 16, 19]] = 1.0
    missing = np.flatnonzero(placed(values, time_s).flags == MISSING)
    assert missing.tolist() == [7, 8, 9, 10, 11, 12]


def test_single_blanks_of_a_full_rate_channel_are_missing_not_interpolated() -> None:
    values = np.arange(50, dtype=np.float32)
    values[[7, 20, 21, 40]] = NAN
    result = placed(values, np.arange(50) * 0.1)
    assert np.flatnonzero(np.isnan(result.values)).tolist() == [7, 20, 21, 40]
    assert np.flatnonzero(result.flags == MISSING).tolist() == [7, 20, 21, 40]


def test_rows_at_which_a_fast_channel_was_not_due_are_interpolated() -> None:
    times = sorted({i * 20 for i in range(51)} | {i * 50 for i in range(21)})
    time_s = np.array(times) / 1000.0
    fast = np.array([t if t % 20 == 0 else NAN for t in times], dtype=np.float32)
    slow = np.array([t if t % 50 == 0 else NAN for t in times], dtype=np.float32)
    fast[times.index(200)] = NAN
    for values, hz in ((fast, 50.0), (slow, 20.0)):
        result = placed(values, time_s)
        assert pace(values, time_s).rate_hz == pytest.approx(hz)
        known = ~np.isnan(result.values)
        np.testing.assert_allclose(result.values[known], time_s[known] * 1000.0, rtol=1e-5)
        lost = [t for t, ok in zip(times, known, strict=True) if not ok]
        assert lost == ([200] if values is fast else [])


def test_sample_beside_a_bad_one_is_bad() -> None:
    limits = channels()["rpm"].limits
    values = values_of(2000, NAN, 2000, NAN, 20000, NAN, 2000, NAN, 2000, NAN, 2010)
    result = placed(values, np.arange(11) * 0.1, limits=limits)
    assert result.flags.tolist() == [GOOD, GOOD, GOOD, BAD, BAD, BAD, *[GOOD] * 5]
    assert [fault.reason for fault in result.faults] == ["range"]


@given(
    steps=st.lists(st.sampled_from([0.05, 0.1, 0.2, 0.7, 3.0]), min_size=5, max_size=60),
    present=st.data(),
)
def test_placed_values_lie_between_their_neighbours_and_native_ones_stay(
    steps: list[float], present: st.DataObject
) -> None:
    time_s = np.cumsum(steps)
    keep = present.draw(st.lists(st.booleans(), min_size=len(steps), max_size=len(steps)))
    values = np.where(keep, np.arange(len(steps)) % 7, NAN).astype(np.float32)
    result = placed(values, time_s)
    own = np.flatnonzero(keep)
    np.testing.assert_array_equal(result.values[own], values[own])
    assert (np.isnan(result.values) == (result.flags == MISSING)).all()
    for i in np.flatnonzero(~np.isnan(result.values)):
        before, after = own[own <= i][-1], own[own >= i][0]
        low, high = sorted((values[before], values[after]))
        assert low <= result.values[i] <= high
        assert before == after or time_s[after] - time_s[before] <= max(
            0.5, 3.0 * float(np.median(np.diff(time_s[own]))) + 1e-9
        )


@pytest.mark.parametrize("cuts", [(), (3,), (1, 2, 3, 4, 5)])
def test_a_clock_that_is_set_while_it_logs_leaves_a_short_gap(cuts: tuple[int, ...]) -> None:
    seconds = (5.0, 5.1, 5.2, 1.7e9, 1.7e9 + 0.1, 1.7e9 + 0.2)
    time_s, (values,), (said,) = based(seconds, range(6), cuts=cuts)
    after = 0.2 + CLOCK_SET_S
    assert time_s == pytest.approx([0.0, 0.1, 0.2, after, after + 0.1, after + 0.2], abs=1e-6)
    assert values.tolist() == [0, 1, 2, 3, 4, 5]
    assert "in line 5, by 19,676 days" in said


def test_a_break_of_a_weekend_is_a_gap_as_long_as_it_is() -> None:
    weekend_s = 3 * 86_400.0
    time_s, _, said = based((0.0, weekend_s), (1.0, 1.0))
    assert time_s.tolist() == [0.0, weekend_s]
    assert said == ()
