"""What is believed of a damage mode before any teardown: the builder's own experience.

Two explanations stand side by side. Either the logged doses do the damage, each with the life that
the engine spec states; or running time alone does, and no dose. The record decides between them
(see posterior.py), so that parts which merely wear are not blamed on doses that grew alongside.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from babbitt.damage.gradual import GradualPrior, gradual_prior
from babbitt.damage.life import (
    CONTRIBUTING_LIFE,
    DOUBT,
    STEEPNESS,
    STEEPNESS_SPREAD,
    UNLOGGED_SPREAD,
    UNLOGGED_WEIGHT,
    middle_of,
)
from babbitt.errors import SettingsError
from babbitt.model.damage_modes import RUNNING, DamageMode, causes
from babbitt.model.engine_spec import HALF_OF_ONE_IN_TEN, LifeSection
from babbitt.model.kinds import Kind
from babbitt.model.run import FloatArray

MARGIN = 2.0
"""So many times the hours after which parts are usually renewed is the 10 % dose of running time:
they are renewed with a margin (common practice, no source)."""

ALONGSIDE = 20.0
"""Where doses wear, running time alone is believed to take so much longer than usual (common
practice, no source)."""

DOUBT_MODES = 2.0
"""So many damage modes looked at weigh as much as DOUBT (common practice, no source); see
doubt.py."""


@dataclass(frozen=True)
class _Life:
    """Belief in a life: ln of its median, in the unit of its cause, and its spread."""

    log_median: float
    spread: float


@dataclass(frozen=True)
class Prior:
    """One explanation of a damage mode: independent normal beliefs about ln h0, ln eta, ln beta.

    Attributes:
        causes: that do the damage, besides the unlogged one.
        mean: of ln h0, ln eta of each cause, ln beta of each cause; shape (1 + 2 x causes,).
        spread: their standard deviations, in the same shape.
        belief: that this explanation is the right one; those of a damage mode sum to one.
        gradual: the same causes as wear; running time wears whatever else does.
    """

    causes: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray
    belief: float
    gradual: GradualPrior


def priors_of(
    mode: DamageMode, life: LifeSection, *, strip_interval_h: float | None
) -> tuple[Prior, ...]:
    """Return what is believed of a damage mode: by its doses, and by running time.

    Lives are such that the engine keeps the two doses of its spec; see life.py.

    Args:
        mode: the damage mode.
        life: [life] of the engine spec.
        strip_interval_h: running hours after which such parts are usually renewed; where running
            time alone does the damage, MARGIN times as long is its 10 % dose. None: not known, and
            running time is no explanation.

    Raises:
        SettingsError: [life] lacks kinds that this damage mode needs; names them all.
    """
    missing = missing_lives(mode, life)
    if missing:
        raise SettingsError(
            f"[life] of the engine spec has no {', '.join(missing)}, which {mode.part} "
            f"{mode.name} needs: state the dose at which one engine in ten needs a part replaced."
        )
    lives = {}
    for name in mode.causes:
        kind = causes()[name].kind
        stated = life.doses(kind) if kind is not None else None
        if stated is not None:
            middle = middle_of(name, stated.half / stated.one_in_ten)
            rank = 1.0 if name in mode.primary else CONTRIBUTING_LIFE
            lives[name] = _Life(
                middle.log_ratio + math.log(rank * stated.one_in_ten), middle.spread
            )
    if strip_interval_h is None:
        return (_prior(lives, lives, belief=1.0),)
    running = _running(mode.clock, strip_interval_h)
    longer = _Life(running.log_median + math.log(ALONGSIDE), running.spread)
    return (
        _prior(lives, lives | {mode.clock: longer}, belief=1.0 - DOUBT),
        running_prior(strip_interval_h, clock=mode.clock, belief=DOUBT),
    )


def missing_lives(mode: DamageMode, life: LifeSection) -> tuple[Kind, ...]:
    """Return the kinds of harm that a damage mode needs a life dose of, and the spec has none."""
    return tuple(dict.fromkeys(kind for kind in _kinds(mode) if life.of(kind) is None))


def running_prior(strip_interval_h: float, *, clock: str = RUNNING, belief: float = 1.0) -> Prior:
    """Return the explanation that counts the hours of a clock alone; see `priors_of`."""
    lives = {clock: _running(clock, strip_interval_h)}
    return _prior(lives, lives, belief=belief)


def _running(clock: str, strip_interval_h: float) -> _Life:
    middle = middle_of(clock, HALF_OF_ONE_IN_TEN)
    return _Life(middle.log_ratio + math.log(MARGIN * strip_interval_h), middle.spread)


def _kinds(mode: DamageMode) -> list[Kind]:
    return [kind for name in mode.causes if (kind := causes()[name].kind) is not None]


def _prior(lives: Mapping[str, _Life], wear: Mapping[str, _Life], *, belief: float) -> Prior:
    k = len(lives)
    medians = [life.log_median for life in lives.values()]
    spreads = [life.spread for life in lives.values()]
    return Prior(
        causes=tuple(lives),
        mean=np.array([math.log(UNLOGGED_WEIGHT), *medians, *[math.log(STEEPNESS)] * k]),
        spread=np.array([UNLOGGED_SPREAD, *spreads, *[STEEPNESS_SPREAD] * k]),
        belief=belief,
        gradual=gradual_prior(
            {name: math.exp(life.log_median) for name, life in wear.items()},
            {name: life.spread for name, life in wear.items()},
        ),
    )
