"""Chances and shares of blame, averaged over what is believed of a damage mode."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from babbitt.damage.model import (
    UNLOGGED,
    Curves,
    Load,
    Observation,
    hazards,
    log_likelihood,
    records_of,
)
from babbitt.damage.posterior import Posterior
from babbitt.damage.sampling import resampled
from babbitt.model.run import FloatArray

_SEED = 7146


@dataclass(frozen=True)
class Estimate:
    """A chance or share with its 90 % interval; all between 0 and 1."""

    p: float
    low: float
    high: float


@dataclass(frozen=True)
class Chances:
    """The chance that a part, or any of several, is at least so badly off.

    Attributes:
        worn: grade 2 or worse.
        replace: grade 3 or worse, to be replaced.
        failed: grade 4.
    """

    worn: Estimate
    replace: Estimate
    failed: Estimate


Question = tuple[Posterior, Load]
"""A damage mode, and what a part has taken."""


def chance(posterior: Posterior, load: Load) -> Estimate:
    """Return the chance that a part is damaged by now.

    The mean over the draws, each with its own unseen dose: so parameters and unseen doses both
    widen the interval.

    Args:
        posterior: of the damage mode.
        load: what the part has taken. One found sound at its last look is judged from there on.
    """
    return chances([(posterior, load)])[0]


def chances(asked: Sequence[Question]) -> list[Estimate]:
    """Return the chance that each part is damaged by now; see `chance`."""
    if not asked:
        return []
    stack = _Stack(asked)
    return _estimates(-np.expm1(-stack.total(stack.hazards(stack.now))))


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
    return forecasts([(posterior, load)], ahead)[0]


def forecasts(asked: Sequence[Question], ahead: Mapping[str, FloatArray]) -> list[Forecast]:
    """Return the chances of parts that have the same ahead of them; see `foretell`."""
    if not asked:
        return []
    stack = _Stack(asked)
    later = stack.hazards(stack.after(ahead))
    now, then = stack.total(stack.hazards(stack.now)), stack.total(later)
    logged = then - later[stack.first]
    told = (_estimates(-np.expm1(-hazard)) for hazard in (now, then, logged))
    return [Forecast(*each) for each in zip(*told, strict=True)]


def risk_after(posterior: Posterior, load: Load) -> Callable[[Mapping[str, FloatArray]], float]:
    """Return what tells the chance, by what is logged, after what lies ahead; see `foretell`."""
    stack = _Stack([(posterior, load)])

    def risk(ahead: Mapping[str, FloatArray]) -> float:
        hazard = stack.hazards(stack.after(ahead))
        return float(-np.expm1(-hazard[1:].sum(axis=0)).mean())

    return risk


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
    stack = _Stack([(posterior, load)])
    hazard = stack.hazards(stack.now)
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


class _Stack:
    """Questions one below another: of each a row for what no log shows, then one a cause.

    Attributes:
        first: row of each question for what no log shows; shape (questions,).
        now: doses; shape (rows, 1), or (rows, draws) where some were unseen.
    """

    def __init__(self, asked: Sequence[Question]) -> None:
        self._causes = [cause for posterior, _ in asked for cause in ("", *posterior.causes)]
        sizes = [1 + len(posterior.causes) for posterior, _ in asked]
        self.first = np.cumsum([0, *sizes[:-1]])
        self._curves = Curves(
            np.concatenate([posterior.curves.log_eta for posterior, _ in asked]),
            np.concatenate([posterior.curves.beta for posterior, _ in asked]),
        )
        loads = [load for (_, load), size in zip(asked, sizes, strict=True) for _ in range(size)]
        rows = list(zip(loads, self._causes, strict=True))
        self.now = np.array([[load.doses.get(cause, 0.0)] for load, cause in rows])
        self.now[self.first] = 1.0
        unseen = np.array([[load.unwatched.get(cause, 0.0)] for load, cause in rows])
        if unseen.any():
            draws = self._curves.beta.shape[1]
            drawn = [
                np.random.default_rng(_SEED).standard_exponential((size, draws)) for size in sizes
            ]
            self.now = self.now + unseen * np.concatenate(drawn)
        before = np.array([[load.sound_at.get(cause, 0.0)] for load, cause in rows])
        self._looked = np.flatnonzero(before)
        looked = Curves(self._curves.log_eta[self._looked], self._curves.beta[self._looked])
        self._before = hazards(looked, before[self._looked])

    def after(self, ahead: Mapping[str, FloatArray]) -> FloatArray:
        """Return the doses after what lies ahead, in each row and for each draw."""
        draws = self._curves.beta.shape[1]
        doses = np.empty(self._curves.beta.shape)
        doses[:] = self.now
        for row, cause in zip(doses, self._causes, strict=True):
            futures = ahead.get(cause)
            if futures is not None:
                # numpy is slow to repeat what needs no repeating
                row += futures if len(futures) == draws else np.resize(futures, draws)
        return doses

    def hazards(self, doses: FloatArray) -> FloatArray:
        """Return what each row adds to G since the last look; shape (rows, draws)."""
        added = hazards(self._curves, doses)
        added[self._looked] -= self._before
        return added

    def total(self, hazard: FloatArray) -> FloatArray:
        """Return G of each question; shape (questions, draws)."""
        return np.add.reduceat(hazard, self.first, axis=0)


def _estimates(values: FloatArray) -> list[Estimate]:
    """Return the mean and the 90 % interval of each row; shape (rows, draws)."""
    draws = values.shape[1]
    ascending = np.sort(values, axis=1)
    low, high = ascending[:, round(0.05 * draws)], ascending[:, round(0.95 * draws) - 1]
    rows = values.mean(axis=1).tolist(), low.tolist(), high.tolist()
    return [Estimate(*row) for row in zip(*rows, strict=True)]
