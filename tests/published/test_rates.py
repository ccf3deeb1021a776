"""Comparison of two Poisson rates against published examples."""

from __future__ import annotations

import pytest

from babbitt.outlook.effect import compare_rates


def test_the_conditional_test_of_a_rate_ratio() -> None:
    """Lung cancer in Fredericia and three other Danish towns, ages 55 to 59 (Andersen 1977).

    Source: the example of `poisson.test` in R's package stats, 11 in 800 against 21 in 3,011; the
    printed ratio, 95 % interval and p-value are from memory.
    """
    found = compare_rates(6 + 8 + 7, 1083 + 1050 + 878, 11, 800, certainty=0.95)
    assert found.ratio == pytest.approx(1.971488, abs=1e-6)
    assert (found.low, found.high) == pytest.approx((0.8584264, 4.2772659), abs=1e-6)
    assert found.p == pytest.approx(0.07967, abs=5e-6)
    assert found.word == "cannot tell"


def test_dodder_seeds_in_clover() -> None:
    """No seed in 100 g against three in 100 g: 2 (1/2)^3 by the conditional test.

    Source of the counts: Przyborowski and Wilenski 1940, as given in SciPy's reference of
    `scipy.stats.poisson_means_test`; the probability is worked out by hand.
    """
    assert compare_rates(0, 100, 3, 100).p == pytest.approx(0.25)
