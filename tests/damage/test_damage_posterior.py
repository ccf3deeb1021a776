from __future__ import annotations

import math

import numpy as np
import pytest

from babbitt.damage import posterior as posterior_module
from babbitt.damage.chance import chance
from babbitt.damage.life import DOUBT, middle_of
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import KEPT, learn
from babbitt.damage.prior import priors_of
from babbitt.errors import DamageModelError
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

LIFE = LifeSection(**dict.fromkeys(KINDS, 100.0))
BOLT = mode_named("rod_bolt", "stretched")
LIVES = math.exp(middle_of("over_rev.driven", 3.0).log_ratio)
PRIORS = priors_of(BOLT, LIFE, strip_interval_h=10.0)


def look(dose: float, hours: float, *, damaged: bool) -> Observation:
    return Observation(
        Load({"over_rev.driven": LIVES * dose / 3.0, "fatigue.rod": hours}), damaged=damaged
    )


def test_without_looks_the_prior_comes_back() -> None:
    posterior = learn(PRIORS, [])
    assert (posterior.observations, posterior.damaged) == (0, 0)
    assert posterior.beliefs == pytest.approx((1.0 - DOUBT, DOUBT), abs=0.02)
    by_doses = posterior.draws[posterior.draws[:, 1] < 100.0]
    assert by_doses[:, :3].mean(axis=0) == pytest.approx(PRIORS[0].mean[:3], abs=0.25)
    assert by_doses[:, :3].std(axis=0) == pytest.approx(PRIORS[0].spread[:3], rel=0.25)


def test_evidence_is_counted() -> None:
    posterior = learn(PRIORS, [look(50, 5, damaged=True), look(10, 5, damaged=False)])
    assert (posterior.observations, posterior.damaged) == (2, 1)
    assert posterior.ess >= 100.0
    assert posterior.draws.shape == (KEPT, 1 + 2 * 3)


def test_every_sound_look_lowers_the_chance_and_every_find_raises_it() -> None:
    question = Load({"over_rev.driven": LIVES * 33.0, "fatigue.rod": 10.0})
    before = chance(learn(PRIORS, []), question).worn.p
    sound = chance(learn(PRIORS, [look(150, 10, damaged=False)] * 3), question).worn.p
    found = chance(learn(PRIORS, [look(50, 10, damaged=True)] * 3), question).worn.p
    assert sound < before - 0.02
    assert found > before + 0.1


def test_the_order_of_looks_does_not_matter() -> None:
    looks = [look(10.0 * n, 2.0 + n, damaged=n > 5) for n in range(9)]
    assert np.array_equal(learn(PRIORS, looks).draws, learn(PRIORS, looks[::-1]).draws)


def test_the_record_decides_between_doses_and_running_time() -> None:
    rng = np.random.default_rng(3)
    doses, hours = rng.lognormal(4.0, 1.0, 60), rng.lognormal(2.5, 0.8, 60)
    by_dose = [look(d, h, damaged=bool(d > 100)) for d, h in zip(doses, hours, strict=True)]
    by_hours = [look(d, h, damaged=bool(h > 15)) for d, h in zip(doses, hours, strict=True)]
    assert learn(PRIORS, by_dose).beliefs[1] < 0.01
    assert learn(PRIORS, by_hours).beliefs[1] > 0.95


def test_nearly_everything_damaged_still_settles() -> None:
    """Any cause, or none, may then be to blame: the posterior has a ridge along each."""
    rng = np.random.default_rng(5)
    mode = mode_named("rod_bearing", "worn")
    looks = [
        Observation(
            Load({cause: float(rng.lognormal(4.0, 1.0)) for cause in mode.causes}),
            damaged=n % 12 > 0,
        )
        for n in range(80)
    ]
    assert learn(priors_of(mode, LIFE, strip_interval_h=None), looks).ess >= 100.0


def test_draws_that_do_not_settle_are_refused(monkeypatch) -> None:
    monkeypatch.setattr(posterior_module, "LEAST_ESS", 1e9)
    with pytest.raises(DamageModelError, match="did not settle on 1 teardown records"):
        learn(PRIORS, [look(50, 5, damaged=True)])
