import numpy as np
import pytest
import rainflow
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.totals.heat_cycles import heat_cycles, ranges, turning_points

temperatures = st.lists(st.integers(10, 120), min_size=0, max_size=120).map(
    lambda values: np.array(values, np.float32)
)


def counted(cycles, least):
    """Range -> count of the cycles of at least that range."""
    found = {}
    for span, count in cycles:
        if span >= least:
            found[span] = found.get(span, 0.0) + count
    return found


@given(temperatures)
def test_turning_points_change_nothing_where_no_noise_is_dropped(values):
    whole = values.tolist()
    cycles = rainflow.extract_cycles([*whole, *whole[-1:]])  # it leaves out the second of two
    assert ranges(values, 0.0) == [(span, n) for span, _, n, _, _ in cycles if span > 0.0]


@given(temperatures, st.integers(1, 60))
def test_dropping_noise_changes_no_count_of_larger_swings(values, noise):
    whole = ranges(values, 0.0)
    assert counted(ranges(values, noise), noise) == counted(whole, noise)


@settings(deadline=None, max_examples=50)
@given(
    knots=st.lists(st.floats(20.0, 115.0), min_size=2, max_size=12),
    seed=st.integers(0, 1000),
    noise=st.floats(0.0, 0.4),
)
def test_heat_cycles_are_those_of_the_whole_series(knots, seed, noise):
    at = np.linspace(0, len(knots) - 1, 400 * len(knots))
    values = np.interp(at, np.arange(len(knots)), knots)
    values += np.random.default_rng(seed).uniform(-noise, noise, len(values))
    values = values.astype(np.float32)
    assert heat_cycles(values) == sum(counted(ranges(values, 0.0), 40.0).values())


@pytest.mark.parametrize(
    ("knots", "cycles"),
    [
        ([20, 90], 0.5),
        ([20, 90, 20], 1.0),
        ([20, 90, 55, 90], 0.5),
        ([20, 90, 45, 91, 20], 2.0),
        ([85, 95, 80, 100], 0.0),
    ],
)
def test_cycles_of_forty_kelvin_count(knots, cycles):
    values = np.interp(np.linspace(0, len(knots) - 1, 1000), np.arange(len(knots)), knots)
    assert heat_cycles(values.astype(np.float32)) == cycles


def test_noise_does_not_make_cycles():
    rng = np.random.default_rng(7)
    values = np.interp(np.arange(50_000), [0, 20_000, 50_000], [20, 90, 90])
    assert heat_cycles((values + rng.normal(0, 0.3, 50_000)).astype(np.float32)) == 0.5


@pytest.mark.parametrize("values", [[], [90.0], [90.0, 90.0], [90.0, 20.0]])
def test_short_series(values):
    array = np.array(values, np.float32)
    assert heat_cycles(array) == (0.5 if len(set(values)) == 2 else 0.0)
    assert len(turning_points(array, 3.0)) == len(dict.fromkeys(values))
