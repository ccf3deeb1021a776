"""The span kernel: closed forms, edges, and agreement with independent formulations."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import ndimage

from babbitt.detect.spans import find_spans
from made_runs import make_run
from span_twin import find_spans_by_loop

PLAIN = {"release": 0.0, "merge_gap_s": 0.0, "min_duration_s": 0.0, "max_gap_s": np.inf}


def spans_of(excess, time_s=None, **settings):
    excess = np.asarray(excess, dtype=float)
    time_s = np.arange(len(excess), dtype=float) if time_s is None else np.asarray(time_s, float)
    return find_spans(time_s, excess, **{**PLAIN, **settings})


def excess_area(spans, excess):
    return spans.integrate(lambda x: x, np.asarray(excess, dtype=float), degree=1)


def test_nothing_beyond_the_limit_gives_the_same_shapes():
    spans = spans_of([-1.0, 0.0, -2.0])

    assert len(spans) == 0
    assert spans.start_s.dtype == spans.duration_s.dtype == np.float64
    assert spans.peaks(np.zeros(3)).shape == (0,)
    assert spans.integrate(lambda x: x, np.zeros(3), degree=1).shape == (0,)


def test_an_empty_run_has_no_spans():
    assert len(spans_of([])) == 0


def test_crossings_are_interpolated():
    spans = spans_of([-1.0, 1.0, 3.0, -1.0])

    assert spans.start_s == pytest.approx([0.5])
    assert spans.end_s == pytest.approx([2.75])
    assert spans.ended_by == ("release",)


def test_a_sample_on_the_limit_is_not_beyond_it():
    spans = spans_of([0.0, 0.0, 1.0, 0.0])

    assert spans.samples.tolist() == [2]
    assert (spans.start_s[0], spans.end_s[0]) == (1.0, 3.0)


def test_a_dip_above_release_does_not_split_but_does_not_count():
    excess = [-9.0, 3.0, -1.0, 3.0, -9.0]
    spans = spans_of(excess, release=-2.0)

    assert len(spans) == 1
    assert spans.end_s - spans.start_s == pytest.approx([2.5])
    assert spans.duration_s == pytest.approx([0.25 + 0.75 + 0.75 + 0.25])
    assert excess_area(spans, excess) == pytest.approx([3.0])


def test_a_dip_below_release_splits():
    assert len(spans_of([-9.0, 3.0, -2.1, 3.0, -9.0], release=-2.0)) == 2


def test_the_end_is_the_last_crossing_before_release():
    spans = spans_of([-9.0, 3.0, -1.0, -1.0, -1.0, -9.0], release=-2.0)

    assert spans.end_s == pytest.approx([1.75])
    assert spans.ended_by == ("release",)


def test_spans_closer_than_the_merge_gap_are_one():
    excess = [-4.0, 4.0, -4.0, 4.0, -4.0]  # 1 s apart, crossing to crossing

    assert len(spans_of(excess, merge_gap_s=1.0)) == 2
    assert len(spans_of(excess, merge_gap_s=1.01)) == 1


def test_merging_comes_before_the_minimum_duration():
    excess = [-4.0, 4.0, -4.0, 4.0, -4.0]

    assert len(spans_of(excess, merge_gap_s=0.5, min_duration_s=1.5)) == 0
    assert spans_of(excess, merge_gap_s=1.5, min_duration_s=1.5).duration_s == pytest.approx([2.0])


def test_a_span_that_lasts_exactly_the_minimum_stays():
    assert len(spans_of([-1.0, 1.0, -1.0], min_duration_s=1.0)) == 1


def test_a_gap_ends_a_span_at_its_last_sample():
    spans = spans_of(
        [-1.0, 2.0, 2.0, 2.0, 2.0, -2.0], [0, 1, 2, 9, 10, 11], max_gap_s=1.5, merge_gap_s=99.0
    )

    assert spans.start_s.tolist() == pytest.approx([1 / 3, 9.0])
    assert spans.end_s.tolist() == pytest.approx([2.0, 10.5])
    assert spans.ended_by == ("gap", "release")


def test_steps_that_may_be_gaps_are_gaps_only_where_they_are_long_enough():
    excess, time_s = [1.0, 1, 1, 1, 1, 1], [0, 1, 2, 5, 6, 16]

    spans = spans_of(excess, time_s, max_gap_s=4.0, long_steps=np.array([2, 4]))

    assert spans.ended_by == ("gap",)
    assert spans.end_s.tolist() == [6.0]


def test_a_run_knows_its_long_steps():
    run = make_run(time_s=np.array([0.0, 1.0, 1.5, 9.0, 9.1, 20.0]), rpm=5000.0)

    assert run.info.max_gap_s < 7.0
    assert {2, 4} <= set(run.long_steps.tolist())
    assert 3 not in run.long_steps


def test_a_span_not_yet_released_at_a_gap_was_ended_by_it():
    spans = spans_of([-9.0, 2.0, -1.0, -9.0], [0, 1, 2, 9], release=-2.0, max_gap_s=1.5)

    assert spans.ended_by == ("gap",)
    assert spans.end_s == pytest.approx([1 + 2 / 3])


def test_the_run_may_start_and_end_beyond_the_limit():
    spans = spans_of([1.0, 1.0, -1.0, 1.0])

    assert spans.start_s.tolist() == [0.0, 2.5]
    assert spans.end_s.tolist() == [1.5, 3.0]
    assert spans.ended_by == ("release", "end_of_run")


def test_an_unusable_sample_neither_splits_nor_opens():
    excess = np.array([-1.0, 1.0, np.nan, 1.0, -1.0, 99.0, -1.0])
    usable = np.array([True, True, False, True, True, False, True])
    spans = spans_of(excess, usable=usable, max_gap_s=2.0)

    assert len(spans) == 1
    assert spans.duration_s == pytest.approx([3.0])
    assert spans.samples.tolist() == [1, 3]


def test_a_sensor_lost_for_longer_than_a_gap_ends_the_span_there():
    usable = np.array([True, True, True, False, False, False, False])
    spans = spans_of([-1.0, 1, 1, 0, 0, 0, 0], usable=usable, max_gap_s=2.0)

    assert spans.end_s.tolist() == [2.0]
    assert spans.ended_by == ("gap",)


def test_beside_a_sample_not_judged_a_span_keeps_to_its_own_sample():
    spans = spans_of([-np.inf, 1.0, 3.0, -np.inf, -1.0])

    assert (spans.start_s[0], spans.end_s[0]) == (1.0, 2.0)
    assert spans.ended_by == ("release",)


def test_a_lone_sample_between_gaps_has_no_duration_and_no_span():
    assert len(spans_of([-1.0, 5.0, -1.0], [0, 10, 20], max_gap_s=1.0)) == 0


def test_a_release_beyond_the_limit_is_refused():
    with pytest.raises(ValueError, match="release"):
        spans_of([1.0], release=0.1)


def test_the_peak_is_the_first_of_equal_samples_of_its_span():
    values = np.array([9.0, 1.0, 7.0, 7.0, 0.0, 3.0, 2.0, 9.0])
    spans = spans_of([-1.0, 1, 1, 1, -1, 1, 1, -1])

    assert spans.peaks(values).tolist() == [2, 5]


def test_integral_of_a_power_is_exact_on_a_ramp():
    rpm = np.array([7000.0, 8000.0])
    spans = spans_of(rpm - 7500.0)
    area = spans.integrate(lambda r: (r / 7500.0) ** 11, rpm, degree=11)

    # Closed form: 7500 to 8000 takes 0.5 s.
    exact = 0.5 * ((8000 / 7500) ** 12 - 1) / (12 * (8000 / 7500 - 1))
    assert area == pytest.approx([exact], rel=1e-12)


SIGNAL = st.integers(1, 60).flatmap(
    lambda n: st.tuples(
        hnp.arrays(np.float64, n, elements=st.sampled_from([0.1, 0.25, 0.5, 1.0, 5.0])),
        hnp.arrays(
            np.float64,
            n,
            elements=st.one_of(st.integers(-4, 4), st.just(-np.inf), st.floats(-3, 3)),
        ),
        hnp.arrays(np.bool_, n, elements=st.sampled_from([True, True, True, False])),
    )
)


@settings(max_examples=400, deadline=None)
@given(
    SIGNAL,
    st.sampled_from([0.0, -0.5, -2.0]),
    st.sampled_from([0.0, 0.4, 2.0]),
    st.sampled_from([0.0, 0.3, 1.0]),
    st.sampled_from([0.9, 1.5, np.inf]),
)
def test_agrees_with_its_plain_loop_twin(signal, release, merge_gap_s, min_duration_s, max_gap_s):
    steps, excess, usable = signal
    time_s = np.cumsum(steps)
    blanked = np.where(usable, excess, np.nan)
    settings = {
        "release": release,
        "merge_gap_s": merge_gap_s,
        "min_duration_s": min_duration_s,
        "max_gap_s": max_gap_s,
        "usable": usable,
    }
    spans = find_spans(time_s, blanked, **settings)
    twins = find_spans_by_loop(time_s, blanked, **settings)

    near = {"rel": 0, "abs": 1e-9}
    assert spans.start_s.tolist() == pytest.approx([s.start_s for s in twins], **near)
    assert spans.end_s.tolist() == pytest.approx([s.end_s for s in twins], **near)
    assert spans.duration_s.tolist() == pytest.approx([s.duration_s for s in twins], **near)
    assert list(spans.ended_by) == [s.ended_by for s in twins]
    assert spans.samples.tolist() == [i for s in twins for i in s.samples]
    area = excess_area(spans, blanked)
    assert area.tolist() == pytest.approx([s.area for s in twins], **near)
    highest = [max(s.samples, key=lambda i: (blanked[i], -i)) for s in twins]
    assert spans.peaks(blanked).tolist() == highest


# Without zeros: a sample on the limit is in no component, yet does not release a span either.
NOISE = hnp.arrays(np.float64, st.integers(2, 80), elements=st.sampled_from([-2.0, -1.0, 1.0, 2.0]))


def samples_by_span(spans):
    return np.split(spans.samples, spans.sample_offsets)[1:]


@settings(max_examples=100, deadline=None)
@given(NOISE)
def test_agrees_with_connected_components(excess):
    labels, count = ndimage.label(excess > 0)

    found = samples_by_span(spans_of(excess))

    assert len(found) == count
    for k, samples in enumerate(found):
        assert samples.tolist() == np.flatnonzero(labels == k + 1).tolist()


ISLANDS = """
with held as (
    select i, x, last_value(case when x > 0 then 1 when x < -1 then 0 end ignore nulls)
        over (order by i) as state
    from samples
), numbered as (
    select i, x, i - row_number() over (partition by state order by i) as island
    from held where state = 1
)
select min(i) as first, max(i) filter (x > 0) as last
from numbered group by island order by first
"""


@pytest.fixture(scope="module")
def database():
    with duckdb.connect() as connection:
        yield connection


@settings(max_examples=25, deadline=None)
@given(x=hnp.arrays(np.float64, st.integers(2, 60), elements=st.integers(-3, 3)))
def test_agrees_with_gaps_and_islands_in_sql(database, x):
    samples = pd.DataFrame({"i": np.arange(len(x)), "x": x})
    islands = database.from_df(samples).query("samples", ISLANDS).fetchall()

    spans = spans_of(x, release=-1.0)

    assert [(s[0], s[-1]) for s in samples_by_span(spans)] == islands
