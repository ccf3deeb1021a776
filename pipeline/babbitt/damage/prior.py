"""What is believed of a damage mode before any teardown: the builder's own experience.

Two explanations stand side by side. Either the logged doses do the damage, each with the life that
the engine spec states; or running time alone does, and no dose. The record decides between them
(see posterior.py), so that parts which merely wear are not blamed on doses that grew alongside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from babbitt.errors import SettingsError
from babbitt.model.damage_modes import RUNNING, DamageMode, causes
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import Kind
from babbitt.model.run import FloatArray

UNLOGGED_WEIGHT = 0.03
"""Median weight of what no log shows: some three parts in a hundred."""

UNLOGGED_SPREAD = 1.0
"""Standard deviation of ln h0."""

LIFE_SPREAD = 1.0
"""Standard deviation of ln eta: a builder's life dose is right within a factor of e."""

STEEPNESS = 2.0
"""Median of beta."""

STEEPNESS_SPREAD = 0.25
"""Standard deviation of ln beta."""

CONTRIBUTING_LIFE = 10.0
"""A contributing cause alone is believed to need ten times the life dose."""

DOUBT = 0.25
"""Belief, before any teardown, that running time alone does the damage."""

DOUBT_MODES = 2.0
"""So many damage modes looked at weigh as much as DOUBT (common practice, no source); see
doubt.py."""

_B10_HAZARD = -math.log(0.9)  # at which one in ten is damaged


@dataclass(frozen=True)
class Prior:
    """One explanation of a damage mode: independent normal beliefs about ln h0, ln eta, ln beta.

    Attributes:
        causes: that do the damage, besides the unlogged one.
        mean: of ln h0, ln eta of each cause, ln beta of each cause; shape (1 + 2 x causes,).
        spread: their standard deviations, in the same shape.
        belief: that this explanation is the right one; those of a damage mode sum to one.
    """

    causes: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray
    belief: float


def priors_of(
    mode: DamageMode, life: LifeSection, *, strip_interval_h: float | None
) -> tuple[Prior, ...]:
    """Return what is believed of a damage mode: by its doses, and by running time.

    A life dose is a B10 life: eta is set so that the cause alone has damaged one in ten by then,
    eta = life / (-ln 0.9)^(1 / beta).

    Args:
        mode: the damage mode.
        life: [life] of the engine spec.
        strip_interval_h: running hours after which such parts are usually renewed; running time
            alone is believed to damage one in ten by then (common practice, no source). None: not
            known, and running time is no explanation.

    Raises:
        SettingsError: [life] lacks kinds that this damage mode needs; names them all.
    """
    missing = missing_lives(mode, life)
    if missing:
        raise SettingsError(
            f"[life] of the engine spec has no {', '.join(missing)}, which {mode.part} "
            f"{mode.name} needs: state the dose at which one engine in ten shows damage."
        )
    lives = [life.of(kind) for kind in _kinds(mode)]
    ranks = np.repeat([1.0, CONTRIBUTING_LIFE], [len(mode.primary), len(mode.contributing)])
    doses = ranks * np.array(lives, dtype=np.float64)
    if strip_interval_h is None:
        return (_prior(mode.causes, doses, belief=1.0),)
    return (
        _prior(mode.causes, doses, belief=1.0 - DOUBT),
        running_prior(strip_interval_h, clock=mode.clock, belief=DOUBT),
    )


def missing_lives(mode: DamageMode, life: LifeSection) -> tuple[Kind, ...]:
    """Return the kinds of harm that a damage mode needs a life dose of, and the spec has none."""
    return tuple(dict.fromkeys(kind for kind in _kinds(mode) if life.of(kind) is None))


def running_prior(strip_interval_h: float, *, clock: str = RUNNING, belief: float = 1.0) -> Prior:
    """Return the explanation that counts the hours of a clock alone; see `priors_of`."""
    return _prior((clock,), np.array([strip_interval_h]), belief=belief)


def _kinds(mode: DamageMode) -> list[Kind]:
    return [kind for name in mode.causes if (kind := causes()[name].kind) is not None]


def _prior(names: tuple[str, ...], lives: FloatArray, *, belief: float) -> Prior:
    k = len(names)
    log_eta = np.log(lives) - math.log(_B10_HAZARD) / STEEPNESS
    return Prior(
        causes=names,
        mean=np.concatenate([[math.log(UNLOGGED_WEIGHT)], log_eta, [math.log(STEEPNESS)] * k]),
        spread=np.repeat([UNLOGGED_SPREAD, LIFE_SPREAD, STEEPNESS_SPREAD], [1, k, k]),
        belief=belief,
    )
