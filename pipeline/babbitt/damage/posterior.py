"""What the teardowns say about a damage mode, added to what was believed before.

Damage comes in one of two ways: suddenly (model.py), or gradually (gradual.py); and doses do it, or
running time alone. Each of the four explains all that was seen, grades and measured wear too, and
they are weighed by how well they foretold it.

In the sudden way all engines of a type share the parameters: an effect of each engine's own (ln
hazard with standard deviation 0.5) cut the squared error of the chances by 7 % after 30 looks and
23 % after 200 in simulated fleets where engines did differ so much, raised it by 7 % and 70 % where
they did not, and took nine times as long. In the gradual way wear tells engines apart sooner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from babbitt.damage import gradual
from babbitt.damage.gradual import Gradual, GradualPrior, Piece, pieces_of
from babbitt.damage.model import (
    Curves,
    Observation,
    curves_of,
    log_likelihood,
    log_likelihood_and_slope,
    records_of,
)
from babbitt.damage.prior import Prior
from babbitt.damage.sampling import (
    LEAST_ESS,
    Sample,
    by_differences,
    resampled,
    sample_posterior,
    sample_prior,
)
from babbitt.damage.sudden import UNSEEN, Severity, severity_of
from babbitt.errors import DamageModelError
from babbitt.model.run import FloatArray

KEPT = 512
"""Draws that a posterior keeps."""

NO_EFFECT = 100.0
"""Stands for ln eta of a cause that does nothing, in draws of the other explanation."""

_SEED = 7146
_NEGLIGIBLE = 0.02  # belief


@dataclass(frozen=True)
class Posterior:
    """What is believed of a damage mode, as draws of equal weight.

    Attributes:
        causes: that may do the damage, besides the unlogged one.
        draws: of the sudden way, rows of ln h0, ln eta of each cause, ln beta of each cause; shape
            (KEPT, 1 + 2 x causes).
        beliefs: in each cause of it, in the order of the priors; they sum to one.
        ess: effective sample size behind the draws, the least of the explanations.
        observations: looks that it has learned from; 0: the builder's own experience alone.
        damaged: how many of them found damage.
        severity: how far sudden damage goes.
        gradual: draws of the gradual way, which take the place of as many of the last of the
            others as the belief in it says; None: there is no such belief.
        develops: belief in the gradual way.
    """

    causes: tuple[str, ...]
    draws: FloatArray
    beliefs: tuple[float, ...]
    ess: float
    observations: int
    damaged: int
    severity: Severity = UNSEEN
    gradual: Gradual | None = None
    develops: float = 0.0

    @cached_property
    def curves(self) -> Curves:
        """The dose responses of the draws of the sudden way."""
        return curves_of(self.draws)


@dataclass(frozen=True, eq=False)
class Fit:
    """What each explanation of a damage mode makes of its looks, before these are weighed.

    Attributes:
        priors: doses, and running time where that is known.
        samples: of the sudden way by each, standardised by its prior.
        observations: looks that it has learned from.
        damaged: how many of them found damage.
        severity: how far sudden damage went.
        told: log-evidence of grades and measured wear in the sudden way.
        develops: belief in the gradual way before the looks.
        gradual: samples of it by each prior, standardised; empty where there is no such belief.
        pieces: that these were learned from.
    """

    priors: tuple[Prior, ...]
    samples: tuple[Sample, ...]
    observations: int
    damaged: int
    severity: Severity = UNSEEN
    told: float = 0.0
    develops: float = 0.0
    gradual: tuple[Sample, ...] = ()
    pieces: tuple[Piece, ...] = ()

    def ways(self, place: int) -> tuple[float, float]:
        """Return ln of what the sudden and the gradual way make of the looks, belief included.

        Args:
            place: of the prior.
        """
        sudden = math.log1p(-self.develops) + self.samples[place].log_evidence + self.told
        if not self.gradual:
            return sudden, -math.inf
        return sudden, math.log(self.develops) + self.gradual[place].log_evidence

    def log_evidence(self, place: int) -> float:
        """Return the log-evidence of the prior at a place, by either way."""
        return float(np.logaddexp(*self.ways(place)))


def learn(
    priors: Sequence[Prior],
    observations: Sequence[Observation],
    pieces: Sequence[Piece] = (),
    *,
    develops: float = 0.0,
) -> Posterior:
    """Return what `priors` become in the light of what was seen, by themselves.

    Equal input gives an equal posterior.

    Args:
        priors: the explanations of the damage mode, as `priors_of` gives them; no cause in two.
        observations: looks at like parts in engines of one type, `running` hours among the doses.
        pieces: the same looks piece by piece.
        develops: belief in the gradual way.

    Raises:
        DamageModelError: the draws do not settle; no figure would be worth showing.
    """
    fitted = fit(priors, observations, pieces, develops=develops)
    return weigh(fitted, [prior.belief for prior in priors])


def fit(
    priors: Sequence[Prior],
    observations: Sequence[Observation],
    pieces: Sequence[Piece] = (),
    *,
    develops: float = 0.0,
) -> Fit:
    """Return what each explanation makes of what was seen; see `learn`."""
    severity, told = severity_of(observations)
    return Fit(
        priors=tuple(priors),
        samples=tuple(_settled_sample(prior, observations) for prior in priors),
        observations=len(observations),
        damaged=sum(look.damaged for look in observations),
        severity=severity,
        told=told,
        develops=develops,
        gradual=tuple(_gradual_sample(prior.gradual, pieces) for prior in priors)
        if develops
        else (),
        pieces=tuple(pieces),
    )


def weigh(fitted: Fit, beliefs: Sequence[float]) -> Posterior:
    """Return the explanations together, by how well each foretold the looks (Bayes factors).

    Args:
        fitted: the explanations.
        beliefs: in each prior, before the looks; they sum to one.
    """
    samples = fitted.samples
    ways = np.array([fitted.ways(place) for place in range(len(samples))])
    foretold = ways + np.log(beliefs)[:, None]
    after = np.exp(foretold - foretold.max())
    after /= after.sum()
    for sample, belief in zip(fitted.gradual, after[:, 1], strict=False):
        if belief > _NEGLIGIBLE:  # draws of what is not believed are hardly used
            _settled(sample, len(fitted.pieces))
    sudden, develops = after[:, 0], float(after[:, 1].sum())
    within = sudden / sudden.sum() if sudden.sum() > 0.0 else np.array(beliefs)
    weights = [belief * sample.weights for belief, sample in zip(within, samples, strict=True)]
    draws = _side_by_side(fitted.priors, samples)
    mixed = np.random.default_rng(_SEED).permutation(KEPT)
    return Posterior(
        causes=tuple(cause for prior in fitted.priors for cause in prior.causes),
        draws=draws[resampled(np.concatenate(weights), KEPT)][mixed],
        beliefs=tuple(after.sum(axis=1).tolist()),
        ess=min(sample.ess for sample in [*samples, *fitted.gradual]),
        observations=fitted.observations,
        damaged=fitted.damaged,
        severity=fitted.severity,
        gradual=_gradual(fitted, after[:, 1], round(develops * KEPT)),
        develops=develops,
    )


def _gradual(fitted: Fit, beliefs: FloatArray, count: int) -> Gradual | None:
    """Return `count` draws of the gradual way; None for none of them.

    Args:
        fitted: the explanations.
        beliefs: in the gradual way by each prior; shape (priors,).
        count: how many.
    """
    if count == 0:
        return None
    rng = np.random.default_rng(_SEED)
    causes = fitted.priors[0].gradual.causes
    blocks, weights = [], []
    for prior, sample, belief in zip(fitted.priors, fitted.gradual, beliefs, strict=True):
        own = prior.gradual
        points = own.mean + own.spread * sample.points
        shapes = points.shape[1] - len(own.causes)
        block = np.full((len(points), shapes + len(causes)), NO_EFFECT)
        block[:, :shapes] = points[:, :shapes]
        block[:, [shapes + causes.index(cause) for cause in own.causes]] = points[:, shapes:]
        blocks.append(block)
        weights.append(belief * sample.weights)
    draws = np.vstack(blocks)[resampled(np.concatenate(weights), count)][rng.permutation(count)]
    return Gradual(
        causes=causes,
        draws=draws,
        effects=gradual.engine_effects(draws, pieces_of(fitted.pieces, causes), rng)
        if fitted.pieces
        else {},
        middling_effect=rng.standard_normal(count),
    )


def _gradual_sample(prior: GradualPrior, pieces: Sequence[Piece]) -> Sample:
    """Return draws of the gradual way, standardised by its prior."""
    if not pieces:
        return sample_prior(len(prior.mean))
    rows = pieces_of(pieces, prior.causes)

    def log_likelihood(points: FloatArray) -> FloatArray:
        return gradual.log_likelihood(prior.mean + prior.spread * points, rows)

    return sample_posterior(
        log_likelihood, partial(by_differences, log_likelihood), len(prior.mean), seed=_SEED
    )


def _settled(sample: Sample, records: int) -> Sample:
    if sample.ess < LEAST_ESS:
        raise DamageModelError(
            f"The damage model did not settle on {records} teardown records "
            f"(effective sample size {sample.ess:.0f}, {LEAST_ESS:.0f} needed): look for doses "
            "that are thousands of times those of the other records."
        )
    return sample


def _settled_sample(prior: Prior, observations: Sequence[Observation]) -> Sample:
    """Return draws of one explanation, standardised by its prior."""
    if not observations:
        return sample_prior(len(prior.mean))
    records = records_of(observations, prior.causes)

    def value_and_slope(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = log_likelihood_and_slope(prior.mean + prior.spread * points, records)
        return value, slope * prior.spread

    sample = sample_posterior(
        lambda points: log_likelihood(prior.mean + prior.spread * points, records),
        value_and_slope,
        len(prior.mean),
        seed=_SEED,
    )
    return _settled(sample, len(observations))


def _side_by_side(priors: Sequence[Prior], samples: Sequence[Sample]) -> FloatArray:
    """Return the draws of all explanations; a cause unknown to one does nothing there."""
    k = sum(len(prior.causes) for prior in priors)
    blocks = []
    first = 1
    for prior, sample in zip(priors, samples, strict=True):
        own = len(prior.causes)
        points = prior.mean + prior.spread * sample.points
        block = np.zeros((len(points), 1 + 2 * k))
        block[:, 0] = points[:, 0]
        block[:, 1 : 1 + k] = NO_EFFECT
        block[:, first : first + own] = points[:, 1 : 1 + own]
        block[:, first + k : first + k + own] = points[:, 1 + own :]
        blocks.append(block)
        first += own
    return np.vstack(blocks)
