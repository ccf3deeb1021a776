"""Weighted draws from a posterior by adaptive importance sampling.

The first proposals are a multivariate t around the peak of the density (Laplace) and the prior
itself, which keeps every weight bounded. While the effective sample size is too small, a t with the
mean and covariance of the draws so far joins them, with as many draws as there are already. All
draws are weighted against the mixture of all proposals (Veach and Guibas 1995, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import linalg, optimize, special

from babbitt.model.run import FloatArray

FIRST_DRAWS = 512
MOST_DRAWS = 65536
WANTED_ESS = 200.0
LEAST_ESS = 100.0

_PRIOR_SHARE = 0.2
_TAIL = 6.0  # degrees of freedom: tails heavier than those of a normal posterior
_CURVATURE_STEP = 1e-3
_DIFFERENCE = 1e-4
_FLATTEST = 0.5  # of the prior's own curvature, 1: a likelihood seldom flattens a peak for far


@dataclass(frozen=True)
class Sample:
    """Weighted draws.

    Attributes:
        points: shape (draws, dimensions).
        weights: sum to one; shape (draws,).
        log_evidence: log of the mean likelihood under the prior.
    """

    points: FloatArray
    weights: FloatArray
    log_evidence: float

    @property
    def ess(self) -> float:
        """Effective sample size."""
        return effective_size(self.weights)


class _Proposal:
    """A multivariate t, or with an infinite `tail` a normal, that gives `count` draws."""

    def __init__(self, centre: FloatArray, root: FloatArray, tail: float, count: int) -> None:
        """`root` @ `root`.T is the scale matrix."""
        self.count = count
        self._centre, self._root, self._tail = centre, root, tail
        self._inverse: FloatArray = linalg.inv(root)
        d = len(centre)
        scale = math.log(2.0 * math.pi) if math.isinf(tail) else math.log(tail * math.pi)
        self._constant = float(np.linalg.slogdet(self._inverse)[1]) - 0.5 * d * scale
        if math.isfinite(tail):
            self._constant += math.lgamma((tail + d) / 2) - math.lgamma(tail / 2)

    def draw(self, rng: np.random.Generator) -> FloatArray:
        away = rng.standard_normal((self.count, len(self._centre)))
        if math.isfinite(self._tail):
            away *= np.sqrt(self._tail / rng.chisquare(self._tail, (self.count, 1)))
        return self._centre + away @ self._root.T

    def log_density(self, points: FloatArray) -> FloatArray:
        square: FloatArray = (((points - self._centre) @ self._inverse.T) ** 2).sum(axis=1)
        if math.isinf(self._tail):
            return self._constant - 0.5 * square
        power = 0.5 * (self._tail + len(self._centre))
        return self._constant - power * np.log1p(square / self._tail)


def sample_posterior(
    log_likelihood: Callable[[FloatArray], FloatArray],
    value_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    dimensions: int,
    *,
    seed: int,
) -> Sample:
    """Return weighted draws from the posterior under a standard normal prior.

    Draws until the effective sample size is WANTED_ESS, or MOST_DRAWS are made: then it may even
    be below LEAST_ESS, and the caller must judge it.

    Args:
        log_likelihood: points of shape (draws, dimensions) -> values of shape (draws,).
        value_and_slope: the same values, and their slopes in the shape of the points.
        dimensions: of a point.
        seed: of the draws.
    """
    rng = np.random.default_rng(seed)
    of_prior = round(_PRIOR_SHARE * FIRST_DRAWS)
    prior = _Proposal(np.zeros(dimensions), np.eye(dimensions), math.inf, of_prior)
    peak, root = _laplace(value_and_slope, dimensions)
    proposals = [prior, _Proposal(peak, root, _TAIL, FIRST_DRAWS - of_prior)]
    points = np.vstack([proposal.draw(rng) for proposal in proposals])
    density = log_likelihood(points) + prior.log_density(points)
    while True:
        log_weight = density - _mixture(proposals, points)
        top = float(log_weight.max())
        weights = np.exp(log_weight - top)
        sample = Sample(points, weights / weights.sum(), top + math.log(weights.mean()))
        if sample.ess >= WANTED_ESS or len(points) >= MOST_DRAWS:
            return sample
        proposals.append(_refined(points, log_weight - top))
        fresh = proposals[-1].draw(rng)
        points = np.vstack([points, fresh])
        density = np.append(density, log_likelihood(fresh) + prior.log_density(fresh))


def by_differences(
    log_likelihood: Callable[[FloatArray], FloatArray], points: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return `log_likelihood` at points, and its slopes there by central differences."""
    count, d = points.shape
    steps = _DIFFERENCE * np.eye(d)
    around = np.concatenate([points[:, None, :] + steps, points[:, None, :] - steps], axis=1)
    values = log_likelihood(np.concatenate([points, around.reshape(-1, d)]))
    above, below = np.split(values[count:].reshape(count, 2 * d), 2, axis=1)
    return values[:count], (above - below) / (2.0 * _DIFFERENCE)


@lru_cache
def even_points(count: int, dimensions: int) -> FloatArray:
    """Return standard normal points, spread evenly; shape (dimensions, count).

    A Kronecker sequence of the generalised golden ratio (Roberts 2018, from memory).
    """
    root = optimize.brentq(lambda x: x ** (dimensions + 1) - x - 1.0, 1.0, 2.0)
    steps = (1.0 / root) ** np.arange(1, dimensions + 1)
    places = (0.5 + np.outer(steps, np.arange(1, count + 1))) % 1.0
    return np.asarray(special.ndtri(places))


def sample_prior(dimensions: int) -> Sample:
    """Return FIRST_DRAWS draws from the standard normal prior: nothing was observed."""
    points = even_points(FIRST_DRAWS, dimensions).T
    return Sample(points, np.full(FIRST_DRAWS, 1.0 / FIRST_DRAWS), 0.0)


def effective_size(weights: FloatArray) -> float:
    """Return (sum w)^2 / sum w^2 of weights of shape (draws,) (Kish 1965, from memory)."""
    return float(weights.sum() ** 2 / (weights**2).sum())


def resampled(weights: FloatArray, count: int) -> npt.NDArray[np.intp]:
    """Return `count` places, each as often as its share of `weights` says (systematic)."""
    below = np.cumsum(weights)
    steps = below[-1] * (np.arange(count) + 0.5) / count
    places: npt.NDArray[np.intp] = np.searchsorted(below, steps)
    return places


def _laplace(
    value_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]], d: int
) -> tuple[FloatArray, FloatArray]:
    """Return the peak of the posterior, and a root of its inverse curvature there."""

    def downhill(point: FloatArray) -> tuple[float, FloatArray]:
        value, slope = value_and_slope(point[None, :])
        return float(0.5 * point @ point - value[0]), point - slope[0]

    found = optimize.minimize(downhill, np.zeros(d), jac=True, method="BFGS", options={"gtol": 0.1})
    steps = _CURVATURE_STEP * np.eye(d)
    _, slope = value_and_slope(np.vstack([found.x + steps, found.x - steps]))
    curvature = np.eye(d) - (slope[:d] - slope[d:]) / (2 * _CURVATURE_STEP)
    values, vectors = linalg.eigh(0.5 * (curvature + curvature.T))
    return found.x, vectors / np.sqrt(np.maximum(values, _FLATTEST))


def _mixture(proposals: list[_Proposal], points: FloatArray) -> FloatArray:
    """Return the log-density of the mixture of all draws made."""
    drawn = sum(proposal.count for proposal in proposals)
    parts = [p.log_density(points) + math.log(p.count / drawn) for p in proposals]
    mixture: FloatArray = np.logaddexp.reduce(parts, axis=0)
    return mixture


def _refined(points: FloatArray, log_weight: FloatArray) -> _Proposal:
    """Return a proposal with the mean and covariance of the draws so far, and as many draws.

    Where a few draws carry all the weight, their spread says little: the weights are then raised
    to the largest power below 1 that leaves LEAST_ESS draws.
    """
    power = 1.0
    if effective_size(np.exp(log_weight)) < LEAST_ESS:
        low, high = 0.0, 1.0
        for _ in range(20):
            power = 0.5 * (low + high)
            if effective_size(np.exp(power * log_weight)) < LEAST_ESS:
                high = power
            else:
                low = power
        power = low
    weights = np.exp(power * log_weight)
    weights /= weights.sum()
    centre = weights @ points
    away = points - centre
    covariance = (away * weights[:, None]).T @ away + 1e-9 * np.eye(len(centre))
    return _Proposal(centre, linalg.cholesky(covariance, lower=True), _TAIL, len(points))
