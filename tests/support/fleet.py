"""A seeded, invented fleet: what its engines took, what was found in them, and what was true.

Doses are in B10 lives of the damage mode, running time in hours; what the builder states as [life]
is meant for the engine, whose many modes together fail the sooner. The doses of a run grow with its
hours and with how hard it was driven, but mostly with luck: log-normal from run to run. What is
true of a damage mode is drawn from the very beliefs that the model starts from; or its lives are
one of each kind (ten, for a contributing cause), and the builder only guesses at them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from babbitt.damage.life import STEEPNESS, middle_of
from babbitt.damage.model import UNLOGGED, Load, Observation
from babbitt.damage.prior import MARGIN, Prior, priors_of
from babbitt.model.damage_modes import RUNNING, DamageMode, parts
from babbitt.model.engine_spec import HALF_OF_ONE_IN_TEN, LifeSection
from babbitt.model.kinds import KINDS

World = Literal["doses", "guessed", "running"]
"""What does the damage: the logged doses, with lives that are drawn or guessed at; or running time
alone."""

BUILD_H = 7.0
_B10 = (-math.log(0.9)) ** (1.0 / STEEPNESS)
STATED = {
    k: math.exp(-middle_of(k, HALF_OF_ONE_IN_TEN).log_ratio) / _B10 for k in (*KINDS, RUNNING)
}
"""What is stated for an engine of which one damage mode has a B10 life of 1."""

STRIP_INTERVAL_H = BUILD_H * STATED[RUNNING] / MARGIN
GUESS_SPREAD = math.log(2.0)  # of ln life: two guesses in three are right within a factor of two

# Share of runs in which a dose is taken at all.
OCCURS = {
    "over_rev.on_power": 0.6,
    "over_rev.driven": 0.15,
    "oil_starvation": 0.5,
    "low_oil_pressure": 0.3,
    "coolant_overheat": 0.2,
    "oil_overheat": 0.3,
    "overboost.cool": 0.5,
    "overboost.hot": 0.1,
    "cold_load": 0.3,
}
_WHOLES = {
    "over_rev": ("over_rev.on_power", "over_rev.driven"),
    "overboost": ("overboost.cool", "overboost.hot"),
}
MODES = tuple(
    {
        (mode.primary, mode.contributing): mode
        for part in parts().values()
        for mode in part.modes.values()
        if mode.causes and {*mode.causes} <= {*OCCURS, *_WHOLES}
    }.values()
)
"""One damage mode of each set of causes."""

_RUNS_A_BUILD = 14.0
_LIVES_A_BUILD = 0.8
_DRIVING = 0.4  # spread of ln of all doses of a run together

Doses = dict[str, float]


@dataclass(frozen=True)
class Unlike:
    """How unlike doses are: spread of ln dose from run to run, and from engine to engine."""

    runs: float
    engines: float


EVEN = Unlike(1.3, 0.5)
"""Every build takes about as much of every kind: who knows all names the right cause in 83 %."""

UNEVEN = Unlike(1.8, 1.0)
"""A build takes much of one kind and little of another: who knows all is right in nine of ten."""


@dataclass(frozen=True)
class Truth:
    """What is true of one damage mode: h0, and (eta, beta) by cause."""

    unlogged: float
    causes: dict[str, tuple[float, float]]

    def chance(self, doses: Mapping[str, float]) -> float:
        return -math.expm1(-sum(self._hazard(doses).values()))

    def shares(self, doses: Mapping[str, float]) -> dict[str, float]:
        """Chance of each cause to be the culprit of damage found."""
        hazard = self._hazard(doses)
        total = sum(hazard.values())
        return {cause: part / total for cause, part in hazard.items()}

    def _hazard(self, doses: Mapping[str, float]) -> dict[str, float]:
        return {UNLOGGED: self.unlogged} | {
            cause: (doses[cause] / eta) ** beta for cause, (eta, beta) in self.causes.items()
        }


@dataclass(frozen=True)
class Fleet:
    """Engines of one type: the doses an hour of each, and every build that was stripped."""

    rates: list[Doses]
    builds: list[Doses]
    unlike: Unlike


def believed(mode: DamageMode, lives: Mapping[str, float]) -> tuple[Prior, Prior]:
    """What the builder believes: the stated lives do it, or the strip interval."""
    stated = {kind: STATED[kind] * life for kind, life in lives.items()}
    by_doses, by_running = priors_of(mode, LifeSection(**stated), strip_interval_h=STRIP_INTERVAL_H)
    return by_doses, by_running


def draw_lives(rng: np.random.Generator, world: World) -> dict[str, float]:
    """What the builder states as [life]."""
    off = rng.lognormal(0.0, GUESS_SPREAD if world == "guessed" else 0.0, len(KINDS))
    return dict(zip(KINDS, off.tolist(), strict=True))


def draw_truth(rng: np.random.Generator, mode: DamageMode, world: World) -> Truth:
    by_doses, by_running = believed(mode, dict.fromkeys(KINDS, 1.0))
    prior = by_running if world == "running" else by_doses
    parameters = np.exp(rng.normal(prior.mean, prior.spread))
    etas, betas = np.split(parameters[1:], 2)
    if world == "guessed":
        lives = np.repeat([1.0, 10.0], [len(mode.primary), len(mode.contributing)])
        etas = lives / (-math.log(0.9)) ** (1.0 / betas)
    return Truth(
        float(parameters[0]), dict(zip(prior.causes, zip(etas, betas, strict=True), strict=True))
    )


def draw_fleet(
    rng: np.random.Generator, engines: int, teardowns: int, unlike: Unlike = EVEN
) -> Fleet:
    """Engines with `teardowns` builds each, every part new after each teardown."""
    rates = [_draw_rates(rng, unlike) for _ in range(engines)]
    builds = [_draw_build(rng, rate, unlike) for rate in rates for _ in range(teardowns)]
    return Fleet(rates, builds, unlike)


def draw_looks(
    rng: np.random.Generator, truth: Truth, builds: Sequence[Doses]
) -> list[Observation]:
    """What is found of one damage mode when the builds are stripped."""
    return [
        Observation(Load(doses), damaged=bool(rng.random() < truth.chance(doses)))
        for doses in builds
    ]


def draw_questions(rng: np.random.Generator, fleet: Fleet, count: int) -> list[Doses]:
    """Builds not stripped yet, at any stage: what the model is asked about."""
    questions = []
    for _ in range(count):
        doses = _draw_build(rng, fleet.rates[rng.integers(len(fleet.rates))], fleet.unlike)
        stage = rng.uniform(0.2, 1.2)
        questions.append({cause: stage * dose for cause, dose in doses.items()})
    return questions


def _draw_rates(rng: np.random.Generator, unlike: Unlike) -> Doses:
    """One engine's doses an hour in the runs in which they occur."""
    mean_of_run = math.exp(0.5 * (unlike.runs**2 + _DRIVING**2))
    usual = _LIVES_A_BUILD / (BUILD_H * mean_of_run)
    return {c: usual / share * rng.lognormal(0.0, unlike.engines) for c, share in OCCURS.items()}


def _draw_build(rng: np.random.Generator, rates: Doses, unlike: Unlike) -> Doses:
    """What one build of an engine takes until it is stripped."""
    runs = 6 + rng.poisson(_RUNS_A_BUILD - 6.0)
    hours = rng.lognormal(math.log(BUILD_H / _RUNS_A_BUILD), 0.35, runs)
    driving = rng.lognormal(0.0, _DRIVING, runs)
    # every engine here is driven alike: fatigue goes with hours
    doses = dict.fromkeys((RUNNING, "fatigue.rod", "fatigue.spring"), float(hours.sum()))
    for cause, rate in rates.items():
        luck = rng.lognormal(0.0, unlike.runs, runs) * (rng.random(runs) < OCCURS[cause])
        doses[cause] = float((rate * hours * driving * luck).sum())
    return doses | {kind: sum(doses[part] for part in split) for kind, split in _WHOLES.items()}
