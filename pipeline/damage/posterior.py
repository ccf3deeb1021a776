"""What the teardowns say about a damage mode, added to what was believed before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.damage.model import Observation, log_likelihood, log_likelihood_and_slope, records_of
from pipeline.damage.prior import Prior, running_prior
from pipeline.damage.sampling import LEAST_ESS, Sample, resampled, sample_posterior
from pipeline.errors import DamageModelError

FloatArray = npt.NDArray[np.float64]

DOUBT = 0.25
"""Belief, before any teardown, that running time alone does the damage, and no dose."""

KEPT = 512
"""Draws that a posterior keeps."""

_SEED = 7146
_NO_EFFECT = 1e3  # ln eta of a cause without effect


@dataclass(frozen=True)
class Posterior:
    """What is believed of a damage mode, as draws of equal weight.

    Attributes:
        causes: that carry a dose; `running` last, where it was considered.
        draws: rows of ln h0, ln eta of each cause, ln beta of each; shape (draws, 1 + 2 x causes).
        ess: effective sample size, the least of its parts.
        observations: looks that it has learned from; 0: the builder's own experience alone.
        damaged: how many of them found damage.
        by_running: chance that running time alone does the damage, and no dose.
    """

    causes: tuple[str, ...]
    draws: FloatArray
    ess: float
    observations: int
    damaged: int
    by_running: float


def learn(
    prior: Prior, observations: Sequence[Observation], *, strip_interval_h: float | None
) -> Posterior:
    """Return what `prior` becomes in the light of `observations`.

    Two explanations are weighed against each other by how well each foretold the looks: the doses
    (with `prior`), and running time alone, believed with DOUBT before any look. So parts that
    merely wear are not blamed on doses that grew alongside, and those that doses damage are not
    judged by the clock: the record decides.

    Args:
        prior: of the damage mode, as `prior_of` gives it.
        observations: looks at like parts in engines of one type, `running` hours among the doses.
        strip_interval_h: running time after which engines of the type are usually stripped; by
            then running time alone is expected to have damaged one in ten (common practice, no
            source). None: not known; running time is left out.

    Raises:
        DamageModelError: the draws do not settle; no figure would be worth showing.
    """
    by_dose = settled_sample(prior, observations)
    if strip_interval_h is None:
        return _posterior([(prior, by_dose)], [1.0], observations)
    hours = running_prior(strip_interval_h)
    by_running = settled_sample(hours, observations)
    gain = by_running.log_evidence - by_dose.log_evidence + math.log(DOUBT / (1.0 - DOUBT))
    belief = 0.5 * (1.0 + math.tanh(0.5 * gain))
    members = [(prior, by_dose), (hours, by_running)]
    return _posterior(members, [1.0 - belief, belief], observations)


def settled_sample(prior: Prior, observations: Sequence[Observation]) -> Sample:
    """Return draws of one explanation, in the units of `prior.mean`.

    Raises:
        DamageModelError: the effective sample size stays below LEAST_ESS.
    """
    records = records_of(observations, prior.causes)

    def value_and_slope(z: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = log_likelihood_and_slope(prior.mean + prior.spread * z, records)
        return value, slope * prior.spread

    sample = sample_posterior(
        lambda z: log_likelihood(prior.mean + prior.spread * z, records),
        value_and_slope,
        len(prior.mean),
        seed=_SEED,
    )
    if sample.ess < LEAST_ESS:
        raise DamageModelError(
            f"The damage model did not settle on {len(observations)} teardown records "
            f"(effective sample size {sample.ess:.0f}, {LEAST_ESS:.0f} needed): look for doses "
            "that are thousands of times those of the other records."
        )
    points = prior.mean + prior.spread * sample.points
    return Sample(points, sample.weights, sample.log_evidence)


def _posterior(
    members: list[tuple[Prior, Sample]],
    beliefs: list[float],
    observations: Sequence[Observation],
) -> Posterior:
    """Put the draws of all explanations together; a cause that one does not know has no effect."""
    names = tuple(cause for prior, _ in members for cause in prior.causes)
    k = len(names)
    draws = []
    first = 0
    for prior, sample in members:
        own = len(prior.causes)
        wide = np.zeros((len(sample.weights), 1 + 2 * k))
        wide[:, 1 : 1 + k] = _NO_EFFECT
        wide[:, 0] = sample.points[:, 0]
        wide[:, 1 + first : 1 + first + own] = sample.points[:, 1 : 1 + own]
        wide[:, 1 + k + first : 1 + k + first + own] = sample.points[:, 1 + own :]
        draws.append(wide)
        first += own
    weights = [belief * sample.weights for belief, (_, sample) in zip(beliefs, members, strict=True)]
    return Posterior(
        causes=names,
        draws=np.vstack(draws)[resampled(np.concatenate(weights), KEPT)],
        ess=min(sample.ess for _, sample in members),
        observations=len(observations),
        damaged=sum(look.damaged for look in observations),
        by_running=beliefs[1] if len(beliefs) > 1 else 0.0,
    )
