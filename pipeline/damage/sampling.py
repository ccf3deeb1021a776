"""Weighted draws from a posterior by adaptive importance sampling.

The first proposal is a multivariate t around the peak of the density (Laplace), beside a share of
the prior itself, which keeps every weight bounded. While the effective sample size is too small,
a t with the mean and covariance of the draws so far joins the proposals. All draws are weighted
against the mixture of all proposals (deterministic mixture weights; Veach and Guibas 1995, from
memory). Effective sample size: (sum w)^2 / sum w^2 (Kish 1965, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg, optimize

FloatArray = npt.NDArray[np.float64]

DRAWS = 512  # in the first round; each further round doubles all draws so far
MOST_DRAWS = 65536
WANTED_ESS = 200.0
LEAST_ESS = 100.0
_PRIOR_SHARE = 0.2
_TAIL = 6.0  # degrees of freedom: tails heavier than a normal posterior's
_CURVATURE_STEP = 1e-3
_FLATTEST = 0.5  # of the prior's curvature of 1; a likelihood can flatten a peak, but not for far


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
        """Effective sample size (Kish)."""
        return effective_size(self.weights)


class _Proposal:
    """A multivariate t, or with `tail` infinite a normal, that has given `count` draws."""

    def __init__(self, centre: FloatArray, root: FloatArray, tail: float, count: int) -> None:
        """`root` is lower or square, with covariance root @ root.T."""
        self.centre, self.root, self.tail, self.count = centre, root, tail, count
        self._inverse = linalg.inv(root)
        self._log_volume = -np.linalg.slogdet(self._inverse)[1]

    def draw(self, rng: np.random.Generator) -> FloatArray:
        normal = rng.standard_normal((self.count, len(self.centre)))
        if math.isfinite(self.tail):
            normal *= np.sqrt(self.tail / rng.chisquare(self.tail, (self.count, 1)))
        return self.centre + normal @ self.root.T

    def log_density(self, points: FloatArray) -> FloatArray:
        d, tail = len(self.centre), self.tail
        square = (((points - self.centre) @ self._inverse.T) ** 2).sum(axis=1)
        if not math.isfinite(tail):
            return -0.5 * square - 0.5 * d * math.log(2 * math.pi) - self._log_volume
        constant = math.lgamma((tail + d) / 2) - math.lgamma(tail / 2)
        constant -= 0.5 * d * math.log(tail * math.pi) + self._log_volume
        return constant - 0.5 * (tail + d) * np.log1p(square / tail)


def sample_posterior(
    log_likelihood: Callable[[FloatArray], FloatArray],
    value_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    dimensions: int,
    *,
    seed: int,
) -> Sample:
    """Return weighted draws from the posterior under a standard normal prior.

    Args:
        log_likelihood: points of shape (draws, dimensions) -> values of shape (draws,).
        value_and_slope: the same values, and their slopes in the shape of the points.
        dimensions: of a point.
        seed: of the draws; equal input gives equal draws.

    The caller judges the effective sample size: after MOST_DRAWS it may still be below LEAST_ESS.
    """
    rng = np.random.default_rng(seed)
    centre, root = _laplace(value_and_slope, dimensions)
    of_prior = round(_PRIOR_SHARE * DRAWS)
    proposals = [
        _Proposal(np.zeros(dimensions), np.eye(dimensions), math.inf, of_prior),
        _Proposal(centre, root, _TAIL, DRAWS - of_prior),
    ]
    prior = proposals[0].log_density
    points = np.vstack([proposal.draw(rng) for proposal in proposals])
    density = log_likelihood(points) + prior(points)
    while True:
        log_weight = density - _mixture(proposals, points)
        top = log_weight.max()
        weights = np.exp(log_weight - top)
        sample = Sample(points, weights / weights.sum(), top + math.log(weights.mean()))
        if sample.ess >= WANTED_ESS or len(points) >= MOST_DRAWS:
            return sample
        proposals.append(_refined(points, log_weight - top, count=len(points)))
        fresh = proposals[-1].draw(rng)
        points = np.vstack([points, fresh])
        density = np.append(density, log_likelihood(fresh) + prior(fresh))


def effective_size(weights: FloatArray) -> float:
    """Return (sum w)^2 / sum w^2 of weights of shape (draws,)."""
    return float(weights.sum() ** 2 / (weights**2).sum())


def resampled(weights: FloatArray, count: int) -> npt.NDArray[np.intp]:
    """Return `count` places, each as often as its share of `weights` says (systematic)."""
    below = np.cumsum(weights)
    steps = below[-1] * (np.arange(count) + 0.5) / count
    return np.searchsorted(below, steps)


def _laplace(
    value_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]], d: int
) -> tuple[FloatArray, FloatArray]:
    """Return the peak of the posterior, and a root of its inverse curvature there."""

    def downhill(point: FloatArray) -> tuple[float, FloatArray]:
        value, slope = value_and_slope(point[None, :])
        return float(0.5 * point @ point - value[0]), point - slope[0]

    peak = optimize.minimize(downhill, np.zeros(d), jac=True, method="BFGS", options={"gtol": 1e-2}).x
    steps = _CURVATURE_STEP * np.eye(d)
    _, rise = value_and_slope(np.vstack([peak + steps, peak - steps]))
    curvature = np.eye(d) - (rise[:d] - rise[d:]) / (2 * _CURVATURE_STEP)
    values, vectors = linalg.eigh(0.5 * (curvature + curvature.T))
    return peak, vectors / np.sqrt(np.maximum(values, _FLATTEST))


def _mixture(proposals: list[_Proposal], points: FloatArray) -> FloatArray:
    drawn = sum(proposal.count for proposal in proposals)
    parts = [p.log_density(points) + math.log(p.count / drawn) for p in proposals]
    mixture: FloatArray = np.logaddexp.reduce(parts, axis=0)
    return mixture


def _refined(points: FloatArray, log_weight: FloatArray, count: int) -> _Proposal:
    """Return a proposal with the mean and covariance of the draws so far.

    Where a few draws carry all the weight, their spread says little: the weights are raised to
    the largest power below 1 that leaves LEAST_ESS draws.
    """
    low, high = 0.0, 1.0
    if effective_size(np.exp(log_weight)) < LEAST_ESS:
        for _ in range(20):
            middle = 0.5 * (low + high)
            enough = effective_size(np.exp(middle * log_weight)) >= LEAST_ESS
            low, high = (middle, high) if enough else (low, middle)
        weights = np.exp(low * log_weight)
    else:
        weights = np.exp(log_weight)
    weights /= weights.sum()
    centre = weights @ points
    away = points - centre
    covariance = (away * weights[:, None]).T @ away + 1e-9 * np.eye(len(centre))
    return _Proposal(centre, linalg.cholesky(covariance, lower=True), _TAIL, count)
