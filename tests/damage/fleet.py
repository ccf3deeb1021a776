"""A seeded, invented fleet: engines, what their builds took, and what was found in them.

Doses are in lives of their kind, hours in hours. A run's doses grow with its hours, but mostly with
luck: log-normal from run to run, with an engine and a driver behind them. What is true of a damage
mode is drawn from the same beliefs that the model starts from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.causes import RUNNING, DamageMode, mode_named
from pipeline.damage.model import UNLOGGED, Load, Observation
from pipeline.damage.prior import prior_of, running_prior
from pipeline.spec import KINDS, LifeSection

World = Literal["doses", "running"]
"""What does the damage: the logged doses, or running time alone."""

LIFE = LifeSection(**dict.fromkeys(KINDS, 1.0))
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
WHOLES = {
    "over_rev": ("over_rev.on_power", "over_rev.driven"),
    "overboost": ("overboost.cool", "overboost.hot"),
}
RUNS_A_BUILD = 14.0
HOURS_A_RUN = 0.5
LIVES_A_BUILD = 0.8
RUNNING_LIFE_H = 8.0
SPREAD_OF_RUNS = 1.3
SPREAD_OF_DRIVING = 0.4
SPREAD_OF_ENGINES = 0.5


@dataclass(frozen=True)
class Truth:
    """What is true of one damage mode: h0, and (eta, beta) by cause."""

    unlogged: float
    causes: dict[str, tuple[float, float]]

    def hazard(self, doses: dict[str, float]) -> dict[str, float]:
        """Each cause's part of the cumulative hazard."""
        return {UNLOGGED: self.unlogged} | {
            cause: (doses[cause] / eta) ** beta for cause, (eta, beta) in self.causes.items()
        }

    def chance(self, doses: dict[str, float]) -> float:
        return -math.expm1(-sum(self.hazard(doses).values()))


def draw_truth(rng: np.random.Generator, mode: DamageMode, world: World) -> Truth:
    prior = prior_of(mode, LIFE) if world == "doses" else running_prior(RUNNING_LIFE_H)
    log = rng.normal(prior.mean, prior.spread)
    k = len(prior.causes)
    pairs = zip(np.exp(log[1 : 1 + k]), np.exp(log[1 + k :]), strict=True)
    return Truth(math.exp(log[0]), dict(zip(prior.causes, pairs, strict=True)))


def draw_rates(rng: np.random.Generator) -> dict[str, float]:
    """One engine's doses an hour, in the runs in which they occur."""
    mean_of_luck = math.exp(0.5 * (SPREAD_OF_RUNS**2 + SPREAD_OF_DRIVING**2))
    usual = LIVES_A_BUILD / (RUNS_A_BUILD * HOURS_A_RUN * mean_of_luck)
    return {c: usual / share * rng.lognormal(0.0, SPREAD_OF_ENGINES) for c, share in OCCURS.items()}


def draw_build(rng: np.random.Generator, rates: dict[str, float]) -> dict[str, float]:
    """What one build of an engine takes until it is stripped: dose by cause, and hours."""
    runs = 6 + rng.poisson(RUNS_A_BUILD - 6)
    hours = rng.lognormal(math.log(HOURS_A_RUN), 0.35, runs)
    driving = rng.lognormal(0.0, SPREAD_OF_DRIVING, runs)
    doses = {RUNNING: float(hours.sum())}
    for cause, rate in rates.items():
        luck = rng.lognormal(0.0, SPREAD_OF_RUNS, runs) * (rng.random(runs) < OCCURS[cause])
        doses[cause] = float((rate * hours * driving * luck).sum())
    return doses | {kind: sum(doses[part] for part in split) for kind, split in WHOLES.items()}


@dataclass(frozen=True)
class Fleet:
    """Engines of one type.

    Attributes:
        rates: of each engine.
        builds: doses of every build that was stripped.
    """

    rates: list[dict[str, float]]
    builds: list[dict[str, float]]


def draw_fleet(rng: np.random.Generator, engines: int, teardowns: int) -> Fleet:
    """Engines with `teardowns` builds each, every part new after each."""
    rates = [draw_rates(rng) for _ in range(engines)]
    return Fleet(rates, [draw_build(rng, rate) for rate in rates for _ in range(teardowns)])


def draw_looks(
    rng: np.random.Generator, truth: Truth, builds: list[dict[str, float]]
) -> list[Observation]:
    """What is found of one damage mode when the builds are stripped."""
    return [
        Observation(Load(doses), damaged=bool(rng.random() < truth.chance(doses)))
        for doses in builds
    ]


def draw_questions(rng: np.random.Generator, fleet: Fleet, count: int) -> list[dict[str, float]]:
    """Builds not stripped yet, at any stage: what the model is asked about."""
    questions = []
    for _ in range(count):
        doses = draw_build(rng, fleet.rates[rng.integers(len(fleet.rates))])
        stage = rng.uniform(0.2, 1.2)
        questions.append({cause: stage * dose for cause, dose in doses.items()})
    return questions
