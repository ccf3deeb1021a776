"""What is drawn of a trace never hides what stands out of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from babbitt.present.views.thinning import thin

VALUES = st.one_of(
    st.floats(-1e6, 1e6, width=32), st.just(float("nan")), st.sampled_from([0.0, 1.0])
)


@given(
    values=arrays(np.float32, st.integers(2, 400), elements=VALUES),
    steps=st.integers(1, 50),
    start=st.floats(-1.0, 1.1),
    length=st.floats(0.001, 2.0),
    points=st.integers(4, 60),
)
def test_the_extremes_of_every_window_are_drawn(values, steps, start, length, points) -> None:
    rng = np.random.default_rng(steps)
    time_s = np.cumsum(rng.uniform(0.001, 1.0, len(values)))
    whole_s = time_s[-1]
    start_s, end_s = start * whole_s, (start + length) * whole_s
    drawn = thin(time_s, values, start_s, end_s, points=points)
    assert np.all(np.diff(drawn) > 0)
    assert not np.isnan(values[drawn]).any()
    assert len(drawn) <= points + 2
    inside = values[(time_s >= start_s) & (time_s <= end_s)]
    inside = inside[~np.isnan(inside)]
    if len(inside):
        shown = values[drawn]
        assert shown.max() >= inside.max()
        assert shown.min() <= inside.min()


def test_all_samples_are_drawn_where_there_is_room() -> None:
    time_s = np.arange(100.0)
    values = np.sin(time_s).astype(np.float32)
    drawn = thin(time_s, values, 10.0, 20.0, points=50)
    np.testing.assert_array_equal(drawn, np.arange(10, 21))


def test_a_trace_reaches_both_edges_of_a_window_between_samples() -> None:
    time_s = np.arange(100.0)
    drawn = thin(time_s, np.ones(100, np.float32), 10.4, 10.6, points=50)
    np.testing.assert_array_equal(drawn, [10, 11])


@pytest.mark.parametrize("count", [0, 1])
def test_a_trace_of_hardly_any_samples_is_drawn_as_it_is(count: int) -> None:
    time_s = np.arange(float(count))
    drawn = thin(time_s, np.ones(count, np.float32), 0.0, 1.0, points=10)
    assert len(drawn) == count


def test_one_sample_among_millions_is_drawn() -> None:
    values = np.zeros(2_000_000, np.float32)
    values[1_234_567] = 5.0
    drawn = thin(np.arange(2e6) / 1e3, values, 0.0, 2000.0, points=1000)
    assert 1_234_567 in drawn
    assert len(drawn) <= 1002
