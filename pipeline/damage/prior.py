"""What is believed of a damage mode before any teardown: the builder's own experience."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.causes import RUNNING, DamageMode, causes
from pipeline.errors import SettingsError
from pipeline.spec import LifeSection

FloatArray = npt.NDArray[np.float64]

UNLOGGED_WEIGHT = 0.03
"""Median weight of what no log shows: some three parts in a hundred."""
UNLOGGED_SPREAD = 1.0
LIFE_SPREAD = 1.0
"""Standard deviation of ln eta: a builder's life dose is right within a factor of e."""
STEEPNESS = 2.0
STEEPNESS_SPREAD = 0.25
CONTRIBUTING_LIFE = 10.0
"""A contributing cause alone is believed to need ten times the life dose."""

_B10 = -math.log(0.9)  # hazard at which one in ten is damaged


@dataclass(frozen=True)
class Prior:
    """Independent normal beliefs about the logarithms of h0, eta and beta.

    Attributes:
        causes: that carry a dose.
        mean: of ln h0, ln eta of each cause, ln beta of each cause; shape (1 + 2 x causes,).
        spread: their standard deviations, in the same shape.
    """

    causes: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray


def prior_of(mode: DamageMode, life: LifeSection) -> Prior:
    """Return what the builder's life doses say about a damage mode.

    eta is set so that the cause alone has damaged one in ten at its life dose (a B10 life):
    eta = life / (-ln 0.9)^(1 / beta).

    Args:
        mode: its causes are those of the prior.
        life: [life] of the engine spec.

    Raises:
        SettingsError: [life] lacks a kind that this damage mode needs; names all it lacks.
    """
    kinds = [kind for name in mode.causes if (kind := causes()[name].kind) is not None]
    lives = [life.of(kind) for kind in kinds]
    missing = dict.fromkeys(
        kind for kind, dose in zip(kinds, lives, strict=True) if dose is None
    )
    if missing:
        raise SettingsError(
            f"[life] of the engine spec has no {', '.join(missing)}, which {mode.part} "
            f"{mode.name} needs: state the dose at which one engine in ten shows damage."
        )
    ranks = np.repeat([1.0, CONTRIBUTING_LIFE], [len(mode.primary), len(mode.contributing)])
    return _prior(mode.causes, ranks * np.array(lives, dtype=np.float64))


def running_prior(life_h: float) -> Prior:
    """Return the belief that running time alone does the damage, one in ten by `life_h` hours."""
    return _prior((RUNNING,), np.array([life_h]))


def _prior(names: tuple[str, ...], lives: FloatArray) -> Prior:
    k = len(names)
    log_eta = np.log(lives) - math.log(_B10) / STEEPNESS
    return Prior(
        causes=names,
        mean=np.concatenate([[math.log(UNLOGGED_WEIGHT)], log_eta, [math.log(STEEPNESS)] * k]),
        spread=np.repeat([UNLOGGED_SPREAD, LIFE_SPREAD, STEEPNESS_SPREAD], [1, k, k]),
    )
