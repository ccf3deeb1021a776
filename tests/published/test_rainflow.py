"""Rainflow counts against ASTM E1049-85, and against the package rainflow on whole series."""

from collections import Counter

import numpy as np
import pytest
import rainflow

from babbitt.totals.heat_cycles import ranges, turning_points

pytestmark = pytest.mark.published

EXAMPLE = np.array([-2, 1, -3, 5, -1, 3, -4, 4, -2], np.float32)  # ASTM E1049-85, figure 6


def by_range(cycles):
    counts = Counter()
    for span, count in cycles:
        counts[span] += count
    return dict(sorted(counts.items()))


def test_the_example_of_the_standard():
    """ASTM E1049-85, 5.4.4, as given in three reproductions of it."""
    expected = {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    assert by_range(ranges(EXAMPLE, 0.0)) == expected
    assert dict(rainflow.count_cycles(EXAMPLE.tolist())) == expected


def test_the_example_cycle_by_cycle():
    """Range, mean and count of each cycle, as in a signal-toolbox manual that cites E1049."""
    cycles = rainflow.extract_cycles(turning_points(EXAMPLE, 0.0).tolist())
    assert sorted((span, mean, count) for span, mean, count, _, _ in cycles) == [
        (3, -0.5, 0.5),
        (4, -1, 0.5),
        (4, 1, 1.0),
        (6, 1, 0.5),
        (8, 0, 0.5),
        (8, 1, 0.5),
        (9, 0.5, 0.5),
    ]


def test_the_example_as_a_repeating_history():
    """ASTM E1049-85, 5.4.5 (from memory): begun at the largest peak, all cycles are whole."""
    repeating = np.array([5, -1, 3, -4, 4, -2, 1, -3, 5], np.float32)
    assert by_range(ranges(repeating, 0.0)) == {3.0: 1.0, 4.0: 1.0, 7.0: 1.0, 9.0: 1.0}


@pytest.mark.parametrize(("exponent", "damage"), [(3, 1094.0), (5, 67838.0)])
def test_damage_of_the_example_by_miners_rule(exponent, damage):
    """Closed form on the counts above: the sum of count x range ** exponent."""
    found = sum(count * span**exponent for span, count in ranges(EXAMPLE, 0.0))
    assert found == pytest.approx(damage, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_turning_points_change_no_count_of_a_whole_series(seed):
    """Live against the package rainflow, which reads every sample."""
    walk = np.cumsum(np.random.default_rng(seed).integers(-3, 4, 3000)).astype(np.float32)
    assert by_range(ranges(walk, 0.0)) == dict(rainflow.count_cycles(walk.tolist()))
