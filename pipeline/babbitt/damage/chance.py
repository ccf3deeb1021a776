"""Chances and shares of blame, averaged over what is believed of a damage mode."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from babbitt.damage.gradual import Gradual, PieceLook
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
_SHIFT = 197  # prime to the number of draws


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


@dataclass(frozen=True)
class Forecast:
    """The chances of a part, or of any of several.

    Attributes:
        now: by now.
        then: after what lies ahead.
    """

    now: Chances
    then: Chances


def chance(posterior: Posterior, load: Load) -> Chances:
    """Return the chances of a part by now.

    The means over the draws, each with its own unseen dose: so parameters and unseen doses both
    widen the intervals.

    Args:
        posterior: of the damage mode.
        load: what the part has taken. One fitted again is judged from its last look on.
    """
    return chances([(posterior, load)])[0]


def chances(asked: Sequence[Question]) -> list[Chances]:
    """Return the chances of each part by now; see `chance`."""
    if not asked:
        return []
    stack = _Stack(asked)
    return _chances(stack.reached(stack.now))


def foretell(posterior: Posterior, load: Load, ahead: Mapping[str, FloatArray]) -> Forecast:
    """Return the chances of a part now, and after what lies ahead.

    Args:
        posterior: of the damage mode.
        load: what the part has taken; see `chance`.
        ahead: cause -> doses it may take next, one a possible future; shape (futures,), the same
            future at the same place for all causes. They widen the interval too.
    """
    return forecasts([(posterior, load)], ahead)[0][0]


def forecasts(
    asked: Sequence[Question],
    ahead: Mapping[str, FloatArray],
    *,
    times: Sequence[int] | None = None,
) -> tuple[list[Forecast], Forecast]:
    """Return the chances of parts that have the same ahead of them, and of any of them.

    Args:
        asked: the damage modes and parts.
        ahead: see `foretell`.
        times: how many damage modes of the engine each question stands for; None: one each.
    """
    if not asked:
        never = Estimate(0.0, 0.0, 0.0)
        return [], Forecast(Chances(never, never, never), Chances(never, never, never))
    stack = _Stack(asked)
    now, then = stack.reached(stack.now), stack.reached(stack.after(ahead))
    each = [Forecast(*told) for told in zip(_chances(now), _chances(then), strict=True)]
    of_any = (_chances(_any(told, times or [1] * len(asked))) for told in (now, then))
    return each, Forecast(*(told for (told,) in of_any))


def _any(reached: FloatArray, times: Sequence[int]) -> FloatArray:
    """Return the chances of any; shape (1, 3, draws).

    What is believed of one damage mode says nothing of another, so that no draw of one belongs to
    a draw of another: they are shifted against each other.
    """
    draws = reached.shape[-1]
    spared = np.ones((1, 3, draws))
    shifts = (_SHIFT * n for n in range(sum(times)))
    for told, count in zip(1.0 - reached, times, strict=True):
        for _ in range(count):
            spared *= np.roll(told, next(shifts) % draws, axis=-1)
    return 1.0 - spared


def risk_after(posterior: Posterior, load: Load) -> Callable[[Mapping[str, FloatArray]], float]:
    """Return what tells the chance that a part is to be replaced after what lies ahead."""
    stack = _Stack([(posterior, load)])

    def risk(ahead: Mapping[str, FloatArray]) -> float:
        return float(stack.reached(stack.after(ahead))[0, 1].mean())

    return risk


def shares(posterior: Posterior, load: Load, *, found: bool = True) -> dict[str, Estimate]:
    """Return each cause's share in damage: its part of the cumulative hazard, or of the wear.

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
    hazard /= hazard.sum(axis=0)
    wear = posterior.gradual
    sudden = len(would) - (len(wear.draws) if wear else 0)
    if wear is not None:
        columns = [1 + posterior.causes.index(cause) for cause in wear.causes]
        hazard[:, sudden:] = 0.0
        hazard[[0, *columns], sudden:] = wear.shares(stack.of_gradual(0, wear, stack.now))
    if not found:
        hazard = hazard[:, resampled(stack.reached(stack.now)[0, 0], len(would))]
    elif sudden and any(load.unwatched.values()):
        # damage was found: an unseen dose that would have done it is the likelier one
        find = records_of([Observation(load, damaged=True)], posterior.causes)
        seen = np.exp(log_likelihood(posterior.draws[:sudden], find))
        hazard[:, :sudden] = hazard[:, resampled(would[:sudden] / seen, sudden)]
    unlogged, *logged = _estimates(hazard)
    return {**dict(zip(posterior.causes, logged, strict=True)), UNLOGGED: unlogged}


class _Stack:
    """Questions one below another: of each a row for what no log shows, then one a cause.

    Attributes:
        first: row of each question for what no log shows; shape (questions,).
        now: doses; shape (rows, 1), or (rows, draws) where some were unseen.
    """

    def __init__(self, asked: Sequence[Question]) -> None:
        self._asked = asked
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

    def of_gradual(self, place: int, wear: Gradual, doses: FloatArray) -> FloatArray:
        """Return the doses of a question as the draws of its gradual way have them."""
        causes = self._asked[place][0].causes
        rows = [self.first[place] + 1 + causes.index(cause) for cause in wear.causes]
        own = doses[rows]
        return own if own.shape[1] == 1 else own[:, -len(wear.draws) :]

    def reached(self, doses: FloatArray) -> FloatArray:
        """Return the chance of being worn, to replace, failed; shape (questions, 3, draws)."""
        damaged = -np.expm1(-np.add.reduceat(self.hazards(doses), self.first, axis=0))
        told = np.empty((len(damaged), 3, damaged.shape[1]))
        for place, (posterior, load) in enumerate(self._asked):
            far = posterior.severity.reached(load.pieces, damaged.shape[1], _SEED)
            told[place] = damaged[place] * far
            told[place, : max(load.grade - 1, 0)] = 1.0
            if posterior.gradual is not None:
                wear = posterior.gradual
                told[place, :, -len(wear.draws) :] = wear.reached(
                    self.of_gradual(place, wear, doses),
                    engine_id=load.engine_id,
                    pieces=load.pieces,
                    looked=PieceLook(load.sound_at, load.grade, load.worn)
                    if load.sound_at
                    else None,
                )
        return told


def _estimates(values: FloatArray) -> list[Estimate]:
    """Return the mean and the 90 % interval of each row; shape (rows, draws)."""
    draws = values.shape[1]
    ascending = np.sort(values, axis=1)
    low, high = ascending[:, round(0.05 * draws)], ascending[:, round(0.95 * draws) - 1]
    rows = values.mean(axis=1).tolist(), low.tolist(), high.tolist()
    return [Estimate(*row) for row in zip(*rows, strict=True)]


def _chances(reached: FloatArray) -> list[Chances]:
    """Return the chances of each question; shape (questions, 3, draws)."""
    count, _, draws = reached.shape
    told = _estimates(reached.reshape(3 * count, draws))
    return [Chances(*told[3 * n : 3 * n + 3]) for n in range(count)]
