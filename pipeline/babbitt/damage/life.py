"""What [life] means: lives of damage modes such that the engine keeps the two doses of its spec.

The spec states doses of one kind at which one engine in ten, and half of the engines, need a part
replaced: any part of those that this kind damages. With many damage modes each of them must be
rarer. Before any teardown the life of a mode is believed log-normal, its middle and its spread the
same for all modes of a kind; these two are set so that the chance of any is 10 % at the one dose
and 50 % at the other.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import optimize, special

from babbitt.damage import gradual
from babbitt.damage.sampling import even_points
from babbitt.damage.sudden import UNSEEN
from babbitt.model.damage_modes import DamageMode, Part, causes, parts
from babbitt.model.run import FloatArray

UNLOGGED_WEIGHT = 0.0005
"""Median weight of what no log shows in one damage mode; over all modes of an engine, with its
spread, some eight builds in a hundred (common practice, no source)."""

UNLOGGED_SPREAD = 1.5
"""Standard deviation of ln h0."""

STEEPNESS = 2.0
"""Median of beta."""

STEEPNESS_SPREAD = 0.25
"""Standard deviation of ln beta."""

CONTRIBUTING_LIFE = 10.0
"""A contributing cause alone is believed to need ten times the life dose."""

DOUBT = 0.25
"""Belief, before any teardown, that running time alone does the damage."""

CYLINDERS = 4
"""Like parts of an engine that sit one at a cylinder, as the two doses are understood."""

LEAST_SPREAD = 0.2
"""Of a life: even a builder who states the two doses close together may err so far."""

_POINTS = 1024
_SEED = 7146


@dataclass(frozen=True)
class Middle:
    """Belief in the life of a damage mode for one cause.

    Attributes:
        log_ratio: ln of its median over the 10 % dose of the kind.
        spread: standard deviation of ln life.
    """

    log_ratio: float
    spread: float


@lru_cache(maxsize=256)
def middle_of(cause: str, ratio: float) -> Middle:
    """Return the belief in lives for a cause.

    Args:
        cause: of schemas/causes.toml; a clock counts for all damage modes.
        ratio: of the half dose to the 10 % dose. One so near 1 that modes which differ at all
            cannot keep it gives LEAST_SPREAD, and keeps the 10 % dose.
    """
    kind = causes()[cause].kind
    groups = Counter(
        (mode.develops, _rank(mode, kind), CYLINDERS if part.position == "cylinder" else 1)
        for part, mode in _modes()
        if kind is None or _rank(mode, kind)
    )
    belief = DOUBT if kind is None else 1.0 - DOUBT

    def of_any(log_ratio: float, spread: float, dose: float) -> float:
        spared = 0.0
        for (develops, rank, pieces), count in groups.items():
            away = math.log(dose / (rank or 1.0)) - log_ratio
            spared += count * math.log1p(-belief * _replaced(away, spread, develops, pieces))
        return -math.expm1(spared)

    def off(at: FloatArray) -> list[float]:
        log_ratio, spread = float(at[0]), math.exp(float(at[1]))
        return [
            float(special.logit(of_any(log_ratio, spread, dose)) - special.logit(aim))
            for dose, aim in ((1.0, 0.1), (ratio, 0.5))
        ]

    found = optimize.root(off, np.array([1.0, 0.0]))
    spread = math.exp(float(found.x[1]))
    if found.success and spread >= LEAST_SPREAD:
        return Middle(float(found.x[0]), spread)
    log_ratio = optimize.brentq(lambda a: of_any(a, LEAST_SPREAD, 1.0) - 0.1, -5.0, 8.0)
    return Middle(float(log_ratio), LEAST_SPREAD)


def _modes() -> Iterable[tuple[Part, DamageMode]]:
    return ((part, mode) for part in parts().values() for mode in part.modes.values())


def _rank(mode: DamageMode, kind: str | None) -> float:
    """Return how many lives of a kind a mode stands; 0: any number."""
    if any(causes()[name].kind == kind for name in mode.primary):
        return 1.0
    return CONTRIBUTING_LIFE * any(causes()[name].kind == kind for name in mode.contributing)


def _replaced(away: float, spread: float, develops: float, pieces: int) -> float:
    """Return the chance, before any teardown, that one mode has a piece to be replaced.

    Args:
        away: ln of the dose over the median life.
        spread: of ln life.
        develops: belief in the gradual way.
        pieces: how many there are.
    """
    life, beta, h0, w0, engine, engine_sd, piece_sd = even_points(_POINTS, 7)
    log_dose = away - spread * life
    steepness = STEEPNESS * np.exp(STEEPNESS_SPREAD * beta)
    hazard = UNLOGGED_WEIGHT * np.exp(UNLOGGED_SPREAD * h0) + np.exp(
        np.minimum(steepness * log_dose, 50.0)
    )
    sudden = float((-np.expm1(-hazard)).mean()) * _beyond_use(pieces)
    worn = np.logaddexp(math.log(gradual.START) + gradual.START_SPREAD * w0, log_dose)
    worn += gradual.ENGINE_EFFECT * np.exp(gradual.EFFECT_SPREAD * engine_sd) * engine
    own = gradual.PIECE_EFFECT * np.exp(gradual.EFFECT_SPREAD * piece_sd)
    wears = float((1.0 - special.ndtr(-worn / own) ** pieces).mean())
    return develops * wears + (1.0 - develops) * sudden


@lru_cache
def _beyond_use(pieces: int) -> float:
    return float(UNSEEN.reached(pieces, 16 * _POINTS, _SEED)[1].mean())
