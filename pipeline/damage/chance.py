"""Chances and shares of blame, averaged over what is believed of a damage mode."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.damage.model import (
    UNLOGGED,
    Load,
    Observation,
    cumulative_hazard,
    hazard_before,
    log_likelihood,
    records_of,
)
from pipeline.damage.posterior import Posterior
from pipeline.damage.sampling import resampled
from pipeline.run import FloatArray

_NOTHING = np.zeros(1)
_SEED = 7146


@dataclass(frozen=True)
class Estimate:
    """A chance or share with its 90 % interval; all between 0 and 1."""

    p: float
    low: float
    high: float


def chance(posterior: Posterior, load: Load) -> Estimate:
    """Return the chance that a part is damaged by now.

    The mean over the draws, each with its own unseen dose: so parameters and unseen doses both
    widen the interval.

    Args:
        posterior: of the damage mode.
        load: what the part has taken. One found sound at its last look is judged from there on.
    """
    hazard = _hazard(posterior, load).sum(axis=0, keepdims=True)
    return _estimates(-np.expm1(-hazard))[0]


@dataclass(frozen=True)
class Forecast:
    """The chance that a part is damaged.

    Attributes:
        now: by now, as `chance` gives it.
        then: after what lies ahead.
        then_logged: the part of `then` that is by what is logged. What no log shows is no smaller
            after a refresh, so it cannot speak for one.
    """

    now: Estimate
    then: Estimate
    then_logged: Estimate


def foretell(posterior: Posterior, load: Load, ahead: Mapping[str, FloatArray]) -> Forecast:
    """Return the chance that a part is damaged now, and after what lies ahead.

    Args:
        posterior: of the damage mode.
        load: what the part has taken; see `chance`.
        ahead: cause -> doses it may take next, one a possible future; shape (futures,), the same
            future at the same place for all causes. They widen the interval too.
    """
    now, before = _doses(posterior, load)
    draws = len(posterior.draws)
    then = np.empty((len(posterior.causes), draws))
    for dose, cause, sofar in zip(then, posterior.causes, now, strict=True):
        futures = ahead.get(cause, _NOTHING)
        # numpy is slow to repeat what needs no repeating
        dose[:] = sofar + (futures if len(futures) == draws else np.resize(futures, draws))
    hazard_now, hazard_then = (
        cumulative_hazard(posterior.curves, doses, before) for doses in (now, then)
    )
    logged = hazard_then[1:].sum(axis=0)
    hazards = np.stack([hazard_now.sum(axis=0), hazard_then[0] + logged, logged])
    return Forecast(*_estimates(-np.expm1(-hazards)))


def shares(posterior: Posterior, load: Load, *, found: bool = True) -> dict[str, Estimate]:
    """Return each cause's share in damage: its part of the cumulative hazard.

    Args:
        posterior: of the damage mode, with this very find among its observations.
        load: what the damaged part had taken.
        found: the damage is among the observations; else it is asked what would be to blame if it
            were found.

    Returns:
        Cause -> share, in the order of `posterior.causes`, `unlogged` last; they sum to one.
    """
    hazard = _hazard(posterior, load)
    would = -np.expm1(-hazard.sum(axis=0))
    if not found:
        hazard = hazard[:, resampled(would, len(would))]
    elif any(load.unwatched.values()):
        # damage was found: an unseen dose that would have done it is the likelier one
        find = records_of([Observation(load, damaged=True)], posterior.causes)
        seen = np.exp(log_likelihood(posterior.draws, find))
        hazard = hazard[:, resampled(would / seen, len(would))]
    hazard /= hazard.sum(axis=0)
    unlogged, *logged = _estimates(hazard)
    return {**dict(zip(posterior.causes, logged, strict=True)), UNLOGGED: unlogged}


def _hazard(posterior: Posterior, load: Load) -> FloatArray:
    """Return each cause's part of G, the unlogged one first; shape (1 + causes, draws)."""
    return cumulative_hazard(posterior.curves, *_doses(posterior, load))


def _doses(posterior: Posterior, load: Load) -> tuple[FloatArray, FloatArray]:
    """Return the doses now and the hazards at the last look, as `cumulative_hazard` takes them."""
    now, unwatched, before = (
        np.array([doses.get(cause, 0.0) for cause in posterior.causes])
        for doses in (load.doses, load.unwatched, load.sound_at)
    )
    if unwatched.any():
        rng = np.random.default_rng(_SEED)
        unseen = rng.standard_exponential((len(now), len(posterior.draws)))
        now = now[:, None] + unwatched[:, None] * unseen
    return now, hazard_before(posterior.curves, before)


def _estimates(values: FloatArray) -> list[Estimate]:
    """Return the mean and the 90 % interval of each row; shape (rows, draws)."""
    draws = values.shape[1]
    ascending = np.sort(values, axis=1)
    low, high = ascending[:, round(0.05 * draws)], ascending[:, round(0.95 * draws) - 1]
    means = values.mean(axis=1)
    return [Estimate(*row) for row in np.column_stack([means, low, high]).tolist()]
