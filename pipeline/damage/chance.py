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
    log_likelihood,
    records_of,
)
from pipeline.damage.posterior import Posterior
from pipeline.damage.sampling import resampled
from pipeline.run import FloatArray

_SEED = 7146


@dataclass(frozen=True)
class Estimate:
    """A chance or share with its 90 % interval; all between 0 and 1."""

    p: float
    low: float
    high: float


def chance(
    posterior: Posterior, load: Load, ahead: Mapping[str, FloatArray] | None = None
) -> Estimate:
    """Return the chance that a part is damaged by now, or after what lies ahead.

    The mean over the draws, each with its own unseen dose: so parameters, unseen doses and doses
    to come all widen the interval.

    Args:
        posterior: of the damage mode.
        load: what the part has taken. One found sound at its last look is judged from there on.
        ahead: cause -> doses it may take next, one a possible future; shape (futures,), the same
            future at the same place for all causes. None: now.
    """
    hazard = _hazard(posterior, load, ahead).sum(axis=1)
    return _estimate(-np.expm1(-hazard))


def chance_ahead(
    posterior: Posterior, load: Load, ahead: Mapping[str, FloatArray]
) -> tuple[Estimate, Estimate]:
    """Return the chance after what lies ahead, and the part of it that is by what is logged.

    The latter leaves out what no log shows: that is no smaller after a refresh, so it cannot speak
    for one. The arguments are those of `chance`.
    """
    hazard = _hazard(posterior, load, ahead)
    logged = hazard[:, 1:].sum(axis=1)
    return _estimate(-np.expm1(-logged - hazard[:, 0])), _estimate(-np.expm1(-logged))


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
    hazard = _hazard(posterior, load, None)
    would = -np.expm1(-hazard.sum(axis=1))
    if not found:
        hazard = hazard[resampled(would, len(hazard))]
    elif any(load.unwatched.values()):
        # damage was found: an unseen dose that would have done it is the likelier one
        find = records_of([Observation(load, damaged=True)], posterior.causes)
        seen = np.exp(log_likelihood(posterior.draws, find))
        hazard = hazard[resampled(would / seen, len(hazard))]
    hazard /= hazard.sum(axis=1, keepdims=True)
    columns = zip(posterior.causes, hazard[:, 1:].T, strict=True)
    return {cause: _estimate(share) for cause, share in columns} | {
        UNLOGGED: _estimate(hazard[:, 0])
    }


def _hazard(posterior: Posterior, load: Load, ahead: Mapping[str, FloatArray] | None) -> FloatArray:
    """Return each cause's part of G, the unlogged one first; shape (draws, 1 + causes)."""
    now, unwatched, before = (
        np.array([doses.get(cause, 0.0) for cause in posterior.causes])
        for doses in (load.doses, load.unwatched, load.sound_at)
    )
    draws = len(posterior.draws)
    if unwatched.any():
        rng = np.random.default_rng(_SEED)
        now = now + unwatched * rng.standard_exponential((draws, len(now)))
    if ahead:
        futures = [ahead.get(cause, np.zeros(1)) for cause in posterior.causes]
        place = np.arange(draws)
        now = now + np.column_stack([doses[place % len(doses)] for doses in futures])
    return cumulative_hazard(posterior.draws, now, before)


def _estimate(values: FloatArray) -> Estimate:
    ascending = np.sort(values)
    low, high = ascending[round(0.05 * len(values))], ascending[round(0.95 * len(values)) - 1]
    return Estimate(p=float(values.mean()), low=float(low), high=float(high))
