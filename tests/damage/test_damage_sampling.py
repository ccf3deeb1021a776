"""Importance sampling, against posteriors that are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from babbitt.damage.sampling import (
    LEAST_ESS,
    WANTED_ESS,
    effective_size,
    resampled,
    sample_posterior,
)


def normal_likelihood(at: np.ndarray, spread: float):
    """One measurement of each coordinate."""

    def value(points):
        away = (points - at) / spread
        return (-0.5 * away**2 - 0.5 * math.log(2 * math.pi) - math.log(spread)).sum(axis=1)

    return value, lambda points: (value(points), -(points - at) / spread**2)


@pytest.mark.parametrize(("at", "spread"), [(0.0, 5.0), (2.0, 1.0), (6.0, 0.05)])
def test_a_normal_posterior_is_found_with_its_evidence(at, spread) -> None:
    where = at * np.array([1.0, -1.0, 0.5])
    sample = sample_posterior(*normal_likelihood(where, spread), 3, seed=1)
    precision = 1.0 + spread**-2
    mean = where / (spread**2 * precision)
    assert sample.ess >= WANTED_ESS
    tolerance = 4.0 / math.sqrt(precision * sample.ess)
    found = sample.weights @ sample.points
    assert found == pytest.approx(mean, abs=tolerance)
    variance = sample.weights @ (sample.points - found) ** 2
    assert variance == pytest.approx(np.full(3, 1.0 / precision), rel=0.3)
    wide = 1.0 + spread**2
    evidence = (-0.5 * where**2 / wide - 0.5 * math.log(2 * math.pi * wide)).sum()
    assert sample.log_evidence == pytest.approx(evidence, abs=0.2)


def test_a_posterior_with_two_peaks_keeps_both() -> None:
    """Peaks at 1 and -1 that the prior cannot tell apart; the search starts between them."""

    def value(points):
        return -8.0 * (points[:, 0] ** 2 - 1.0) ** 2

    def both(points):
        slope = np.zeros_like(points)
        slope[:, 0] = -32.0 * points[:, 0] * (points[:, 0] ** 2 - 1.0)
        return value(points), slope

    sample = sample_posterior(value, both, 4, seed=1)
    assert sample.ess >= LEAST_ESS
    assert sample.weights[sample.points[:, 0] > 0.0].sum() == pytest.approx(0.5, abs=0.15)


def test_equal_seeds_give_equal_draws() -> None:
    functions = normal_likelihood(np.array([3.0, 1.0]), 0.1)
    first, second = (sample_posterior(*functions, 2, seed=7) for _ in range(2))
    assert np.array_equal(first.points, second.points)
    assert np.array_equal(first.weights, second.weights)


def test_effective_size_by_hand() -> None:
    assert effective_size(np.ones(8)) == 8.0
    assert effective_size(np.array([0.5, 0.5, 0.0])) == 2.0
    assert effective_size(np.array([3.0, 1.0])) == pytest.approx(16.0 / 10.0)


def test_resampling_repeats_by_weight() -> None:
    places = resampled(np.array([1.0, 0.0, 3.0]), 8)
    assert np.bincount(places).tolist() == [2, 0, 6]
