"""What was learned, shown beside what was believed before."""

from __future__ import annotations

import json
import math

import pytest

from babbitt.damage.life import DOUBT, UNLOGGED_WEIGHT, middle_of
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import learn
from babbitt.damage.prior import priors_of
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from babbitt.outlook.why import why

KEEPER = mode_named("keeper", "worn")
LIFE = LifeSection(**dict.fromkeys(KINDS, 900.0))


def why_of(looks, *, usual_h: float | None = 10.0):
    priors = priors_of(KEEPER, LIFE, strip_interval_h=usual_h)
    return why(KEEPER, priors, looks, learn(priors, looks))


def test_before_any_teardown_it_is_the_builders_own_belief() -> None:
    found = why_of([])
    (life,) = found.lives
    assert life.cause == "over_rev"
    assert life.prior == life.posterior
    middle = 900.0 * math.exp(middle_of("over_rev", 3.0).log_ratio) * math.sqrt(-math.log(0.9))
    assert life.prior.median == pytest.approx(middle, rel=0.15)
    assert life.prior.low < middle / 3.0
    assert life.prior.high > middle * 3.0
    assert found.running_prior == pytest.approx(DOUBT)
    assert found.unlogged_prior.median == pytest.approx(UNLOGGED_WEIGHT, rel=0.2)


def test_parts_that_outlive_their_life_dose_raise_it() -> None:
    looks = [Observation(Load({"over_rev": 90_000.0, "running": 1.0}), damaged=False)] * 6
    found = why_of(looks)
    (life,) = found.lives
    assert life.posterior is not None
    assert life.posterior.median > 2.0 * life.prior.median
    assert (found.looks, found.damaged) == (6, 0)


def test_damage_without_any_dose_speaks_for_running_time() -> None:
    looks = [
        Observation(Load({"running": hours}), damaged=hours > 9.0)
        for hours in (2.0, 4.0, 6.0, 12.0, 14.0, 16.0)
    ]
    found = why_of(looks)
    assert found.running_posterior > found.running_prior
    assert found.running is not None


def test_without_usual_hours_running_time_is_not_asked() -> None:
    found = why_of([], usual_h=None)
    assert found.running is None
    assert found.running_prior == found.running_posterior == 0.0


def test_it_can_be_written_as_json() -> None:
    found = json.loads(json.dumps(why_of([]).to_json()))
    assert (found["part"], found["mode"]) == ("keeper", "worn")
