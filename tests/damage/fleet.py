"""A seeded, invented fleet: what its engines took, what was found in them, and what was true.

Doses are in lives of their kind, running time in hours. The doses of a run grow with its hours and
with how hard it was driven, but mostly with luck: log-normal from run to run. What is true of a
damage mode is drawn from the very beliefs that the model starts from.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.causes import RUNNING, DamageMode, mode_named
from pipeline.damage.model import UNLOGGED, Load, Observation
from pipeline.damage.prior import Prior, priors_of
from pipeline.spec import KINDS, LifeSection

World = Literal["doses", "running"]
"""What does the damage: the logged doses, or running time alone."""

STRIP_INTERVAL_H = 7.0
MODES = tuple(
    mode_named(*name.split("."))
    for name in (
        "rod_bearing.worn",
        "rod_bolt.stretched",
        "head_gasket.leaking",
        "exhaust_valve.bent",
        "piston_skirt.scuffed",
        "cam_lobe.scuffed",
        "ring.butted",
        "valve_spring.lost_load",
    )
)

# Share of runs in which a dose is taken at all.
_OCCURS = {
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
_RUNS_A_BUILD = 14.0
_LIVES_A_BUILD = 0.8
_LUCK = 1.3  # spreads: of ln dose from run to run,
_DRIVING = 0.4  # of all doses of a run together,
_ENGINE = 0.5  # and from engine to engine

Doses = dict[str, float]


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


def believed(mode: DamageMode) -> tuple[Prior, Prior]:
    """What the builder believes: one life of each kind does it, or the strip interval."""
    life = LifeSection(**dict.fromkeys(KINDS, 1.0))
    by_doses, by_running = priors_of(mode, life, strip_interval_h=STRIP_INTERVAL_H)
    return by_doses, by_running


def draw_truth(rng: np.random.Generator, mode: DamageMode, world: World) -> Truth:
    by_doses, by_running = believed(mode)
    prior = by_doses if world == "doses" else by_running
    parameters = np.exp(rng.normal(prior.mean, prior.spread))
    etas, betas = np.split(parameters[1:], 2)
    return Truth(
        float(parameters[0]), dict(zip(prior.causes, zip(etas, betas, strict=True), strict=True))
    )


def draw_fleet(rng: np.random.Generator, engines: int, teardowns: int) -> Fleet:
    """Engines with `teardowns` builds each, every part new after each teardown."""
    rates = [_draw_rates(rng) for _ in range(engines)]
    return Fleet(rates, [_draw_build(rng, rate) for rate in rates for _ in range(teardowns)])


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
        doses = _draw_build(rng, fleet.rates[rng.integers(len(fleet.rates))])
        stage = rng.uniform(0.2, 1.2)
        questions.append({cause: stage * dose for cause, dose in doses.items()})
    return questions


def _draw_rates(rng: np.random.Generator) -> Doses:
    """One engine's doses an hour in the runs in which they occur."""
    mean_of_run = math.exp(0.5 * (_LUCK**2 + _DRIVING**2))
    usual = _LIVES_A_BUILD / (STRIP_INTERVAL_H * mean_of_run)
    return {c: usual / share * rng.lognormal(0.0, _ENGINE) for c, share in _OCCURS.items()}


def _draw_build(rng: np.random.Generator, rates: Doses) -> Doses:
    """What one build of an engine takes until it is stripped."""
    runs = 6 + rng.poisson(_RUNS_A_BUILD - 6.0)
    hours = rng.lognormal(math.log(STRIP_INTERVAL_H / _RUNS_A_BUILD), 0.35, runs)
    driving = rng.lognormal(0.0, _DRIVING, runs)
    doses = {RUNNING: float(hours.sum())}
    for cause, rate in rates.items():
        luck = rng.lognormal(0.0, _LUCK, runs) * (rng.random(runs) < _OCCURS[cause])
        doses[cause] = float((rate * hours * driving * luck).sum())
    return doses | {kind: sum(doses[part] for part in split) for kind, split in _WHOLES.items()}
