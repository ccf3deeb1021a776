"""How long the damage model takes for a fleet: learning every damage mode, then all chances."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.damage.chance import forecasts
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import learn
from babbitt.damage.prior import priors_of
from babbitt.model.damage_modes import RUNNING, causes, parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

ENGINES = 50
TEARDOWNS = 200
REACH_S = 2.0
LIFE = LifeSection(**dict.fromkeys(KINDS, 1.0))


@pytest.fixture(scope="module")
def fleet():
    """Invented: every dose at every teardown, damage the likelier the larger they are."""
    rng = np.random.default_rng(1)
    names = [name for name in causes() if name != RUNNING]

    def draw_load() -> Load:
        doses = {name: float(rng.lognormal(-0.7, 1.0)) for name in names}
        return Load(doses | {RUNNING: float(rng.uniform(3.0, 9.0))})

    stripped = [draw_load() for _ in range(TEARDOWNS)]
    looks = {}
    for part in parts().values():
        for mode in part.modes.values():
            totals = [sum(load.doses[cause] for cause in mode.causes) for load in stripped]
            looks[mode] = [
                Observation(load, damaged=bool(rng.random() < 1.0 - np.exp(-0.1 * total**2)))
                for load, total in zip(stripped, totals, strict=True)
            ]
    return looks, [draw_load() for _ in range(ENGINES)]


def test_fleet_of_fifty_engines_and_two_hundred_teardowns(benchmark, fleet) -> None:
    looks, engines = fleet
    ahead = {name: np.linspace(0.0, 0.5, 100) for name in causes()}

    def outlook() -> int:
        asked = 0
        for mode, observations in looks.items():
            posterior = learn(priors_of(mode, LIFE, strip_interval_h=6.0), observations)
            asked += len(forecasts([(posterior, load) for load in engines], ahead)[0])
        return asked

    assert benchmark.pedantic(outlook, rounds=3, warmup_rounds=1) == ENGINES * len(looks)
    assert benchmark.stats.stats.min <= REACH_S
