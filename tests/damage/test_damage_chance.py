from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.damage.chance import chance, chances, forecasts, foretell, risk_after, shares
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import KEPT, Posterior, learn
from babbitt.damage.prior import priors_of
from babbitt.damage.sudden import Severity
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

# h0 0.03; hot: eta 4, beta 2; dry: eta 8, beta 1.5; known without any doubt
CERTAIN = Posterior(
    causes=("hot", "dry"),
    draws=np.tile(np.log([0.03, 4.0, 8.0, 2.0, 1.5]), (KEPT, 1)),
    beliefs=(1.0,),
    ess=512.0,
    observations=0,
    damaged=0,
)
MODE = mode_named("piston_skirt", "scuffed")
LEARNED = learn(
    priors_of(MODE, LifeSection(**dict.fromkeys(KINDS, 10.0)), strip_interval_h=8.0),
    [
        Observation(Load({"cold_load": 20.0, "running": 8.0}), damaged=True),
        Observation(Load({"coolant_overheat": 4.0, "running": 6.0}), damaged=False),
    ],
)
dose = st.floats(0.0, 500.0)
loads = st.fixed_dictionaries(dict.fromkeys((*MODE.causes, "running"), dose))


def test_chance_by_hand() -> None:
    estimate = chance(CERTAIN, Load({"hot": 2.0, "dry": 4.0})).worn
    expected = 1.0 - math.exp(-(0.03 + 0.5**2 + 0.5**1.5))
    assert (estimate.p, estimate.low, estimate.high) == pytest.approx([expected] * 3)


def test_a_part_found_sound_is_judged_from_there_on() -> None:
    estimate = chance(CERTAIN, Load({"hot": 2.0}, sound_at={"hot": 1.0})).worn
    assert estimate.p == pytest.approx(1.0 - math.exp(-(0.03 + 0.5**2 - 0.25**2)))


def test_shares_by_hand() -> None:
    hazards = {"hot": 0.5**2, "dry": 0.5**1.5, "unlogged": 0.03}
    found = shares(CERTAIN, Load({"hot": 2.0, "dry": 4.0}))
    assert list(found) == list(hazards)
    total = sum(hazards.values())
    assert [s.p for s in found.values()] == pytest.approx([h / total for h in hazards.values()])


@given(loads)
@settings(max_examples=40, deadline=None)
def test_shares_sum_to_one_and_the_log_is_never_all(doses) -> None:
    found = shares(LEARNED, Load(doses))
    assert sum(share.p for share in found.values()) == pytest.approx(1.0)
    assert all(0.0 <= s.low <= s.high <= 1.0 for s in found.values())
    assert found["unlogged"].p > 0.0


@given(loads, st.sampled_from([*MODE.causes, "running"]), st.floats(0.0, 100.0))
@settings(max_examples=40, deadline=None)
def test_more_dose_never_lowers_the_chance(doses, cause, more) -> None:
    less = chance(LEARNED, Load(doses)).worn
    greater = chance(LEARNED, Load(doses | {cause: doses[cause] + more})).worn
    assert 0.0 < less.p <= greater.p <= 1.0
    assert less.low <= greater.low
    assert less.high <= greater.high


def test_an_unwatched_dose_widens_the_interval_and_is_not_zero() -> None:
    seen = chance(LEARNED, Load({"cold_load": 5.0})).worn
    unseen = chance(LEARNED, Load({"cold_load": 5.0}, unwatched={"cold_load": 10.0})).worn
    assert unseen.p > seen.p
    assert unseen.high - unseen.low > 1.2 * (seen.high - seen.low)


def test_an_unwatched_dose_is_averaged_over() -> None:
    """Exponential with mean 2, eta 4, beta 2: the integral by hand, 1 - exp(-h0) S."""
    steps = np.linspace(0.0, 60.0, 600001)
    sound = np.trapezoid(np.exp(-steps) * np.exp(-((2.0 * steps / 4.0) ** 2)), steps)
    estimate = chance(CERTAIN, Load({}, unwatched={"hot": 2.0})).worn
    assert estimate.p == pytest.approx(1.0 - math.exp(-0.03) * sound, abs=0.05)


def test_damage_found_speaks_for_the_unwatched_dose() -> None:
    """Share of hot in damage found: its mean over the doses that did harm, not over all."""
    load = Load({"dry": 2.0}, unwatched={"hot": 1.0})
    rng = np.random.default_rng(0)
    hot = (rng.standard_exponential(400_000) / 4.0) ** 2
    rest = 0.03 + (2.0 / 8.0) ** 1.5
    found = 1.0 - np.exp(-(hot + rest))
    expected = np.average(hot / (hot + rest), weights=found)
    assert shares(CERTAIN, load)["hot"].p == pytest.approx(expected, abs=0.05)
    assert np.mean(hot / (hot + rest)) < expected - 0.1


def test_what_lies_ahead_is_added_future_by_future() -> None:
    """Half of the futures take 2 hot and 4 dry at once, the other half nothing."""
    ahead = {"hot": np.array([0.0, 2.0]), "dry": np.array([0.0, 4.0])}
    estimate = foretell(CERTAIN, Load({}), ahead).then.worn
    nothing, both = 1.0 - math.exp(-0.03), 1.0 - math.exp(-(0.03 + 0.5**2 + 0.5**1.5))
    assert estimate.p == pytest.approx((nothing + both) / 2.0)
    assert (estimate.low, estimate.high) == pytest.approx((nothing, both))


def test_a_cause_that_no_future_names_stays_where_it_is() -> None:
    now = chance(CERTAIN, Load({"dry": 4.0}))
    assert foretell(CERTAIN, Load({"dry": 4.0}), {"hot": np.zeros(5)}).then == now


def test_a_forecast_by_hand() -> None:
    ahead = {"hot": np.full(7, 1.0), "dry": np.zeros(7)}
    told = foretell(CERTAIN, Load({"hot": 1.0}), ahead)
    assert told.now == chance(CERTAIN, Load({"hot": 1.0}))
    assert told.then.worn.p == pytest.approx(1.0 - math.exp(-(0.03 + 0.5**2)))


def test_a_mode_that_nothing_logged_can_cause_stays_as_it_is() -> None:
    fate = Posterior((), np.log(np.full((KEPT, 1), 0.03)), (1.0,), 512.0, 0, 0)
    told = foretell(fate, Load({"hot": 9.0}), {"hot": np.ones(7)})
    assert told.then.worn.p == pytest.approx(1.0 - math.exp(-0.03))


def test_before_damage_is_found_the_likelier_lives_are_to_blame() -> None:
    """Half of the draws say the part is doomed, half that it lasts: if damaged, it was doomed."""
    lives = np.tile(np.log([0.03, 4.0, 1e6, 2.0, 1.5]), (KEPT, 1))
    lives[: KEPT // 2, 1] = math.log(1e6)
    doubtful = Posterior(("hot", "dry"), lives, (1.0,), 512.0, 0, 0)
    load = Load({"hot": 12.0})
    assert shares(doubtful, load)["hot"].p == pytest.approx(0.5, abs=0.01)
    doomed, lasting = 1.0 - math.exp(-9.03), 1.0 - math.exp(-0.03)
    expected = doomed / (doomed + lasting) * 9.0 / 9.03
    assert shares(doubtful, load, found=False)["hot"].p == pytest.approx(expected, abs=0.01)


def test_many_questions_give_what_each_gives_alone() -> None:
    fate = Posterior((), np.log(np.full((KEPT, 1), 0.03)), (1.0,), 512.0, 0, 0)
    asked = [
        (CERTAIN, Load({"hot": 2.0, "dry": 4.0}, sound_at={"hot": 1.0})),
        (fate, Load({"hot": 9.0})),
        (LEARNED, Load({"cold_load": 5.0}, unwatched={"cold_load": 10.0})),
        (CERTAIN, Load({})),
    ]
    ahead = {"hot": np.array([0.0, 2.0]), "cold_load": np.linspace(0.0, 30.0, KEPT)}
    assert chances(asked) == [chance(*each) for each in asked]
    each, of_any = forecasts(asked, ahead)
    assert each == [foretell(*one, ahead) for one in asked]
    assert max(one.then.worn.p for one in each) < of_any.then.worn.p < 1.0
    assert (chances([]), forecasts([], ahead)[0]) == ([], [])


def test_any_of_several_damage_modes_by_hand() -> None:
    """Certain chances of .03 and .2221 multiply; the second stands for two modes."""
    fate = Posterior((), np.log(np.full((KEPT, 1), 0.03)), (1.0,), 512.0, 0, 0)
    load = Load({"hot": 2.0})
    _, of_any = forecasts([(fate, load), (CERTAIN, load)], {}, times=[1, 2])
    spared = math.exp(-0.03) * math.exp(-2.0 * (0.03 + 0.5**2))
    assert of_any.now.worn.p == pytest.approx(1.0 - spared)


def test_of_sudden_damage_a_share_is_beyond_use_or_failed() -> None:
    """Dirichlet with many finds: .25, .5 and .25 of grades 2, 3 and 4; one piece."""
    severity = Severity(spreading=(1e6, 1e6), grades=(25e4, 50e4, 25e4))
    told = chance(replace(CERTAIN, severity=severity), Load({"hot": 4.0}))
    assert told.replace.p == pytest.approx(0.75 * told.worn.p, rel=1e-2)
    assert told.failed.p == pytest.approx(0.25 * told.worn.p, rel=1e-2)
    # of two pieces one is hit, and in half of the cases the other: 1 - .25 (1 - .5 * .75)
    of_two = chance(replace(CERTAIN, severity=severity), Load({"hot": 4.0}, pieces=2))
    assert of_two.replace.p == pytest.approx((1 - 0.25 * 0.625) * told.worn.p, rel=1e-2)


def test_a_part_that_went_back_worn_is_worn_and_may_yet_be_hit() -> None:
    back = Load({"hot": 4.0}, sound_at={"hot": 4.0}, grade=2)
    told = chance(CERTAIN, back)
    assert told.worn.p == 1.0
    assert told.replace.p < 0.03
    assert chance(CERTAIN, replace(back, grade=3)).replace.p == 1.0


def test_the_risk_ahead_is_that_of_the_forecast() -> None:
    load, ahead = Load({"cold_load": 5.0, "running": 4.0}), {"cold_load": np.full(KEPT, 9.0)}
    told = foretell(LEARNED, load, ahead).then.replace.p
    assert risk_after(LEARNED, load)(ahead) == pytest.approx(told)
