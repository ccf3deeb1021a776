"""Doses or running time: what damage modes say about it together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from babbitt.damage.doubt import doubts_of, weigh_together
from babbitt.damage.life import DOUBT
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import fit, learn
from babbitt.damage.prior import DOUBT_MODES, priors_of
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

LIFE = LifeSection(**dict.fromkeys(KINDS, 100.0))
BOLT = priors_of(mode_named("rod_bolt", "stretched"), LIFE, strip_interval_h=10.0)
KEEPER = priors_of(mode_named("keeper", "worn"), LIFE, strip_interval_h=10.0)
RUBBED = priors_of(mode_named("valve_retainer", "face_rubbed"), LIFE, strip_interval_h=10.0)
BY_HOURS = [
    Observation(Load({"over_rev.driven": 5.0, "over_rev": 5.0, "fatigue.rod": hours}), hours > 15.0)
    for hours in (2.0, 5.0, 9.0, 12.0, 18.0, 25.0, 30.0, 40.0)
]


def test_a_mode_without_others_is_left_with_the_builders_doubt() -> None:
    assert doubts_of(np.array([5.0])) == pytest.approx([DOUBT], abs=1e-3)
    assert doubts_of(np.array([])).shape == (0,)


def test_others_are_weighed_as_a_share_of_all_modes() -> None:
    """E[w | one other mode], w beta distributed, by numerical integration."""
    share = stats.beta(DOUBT_MODES * DOUBT, DOUBT_MODES * (1.0 - DOUBT))

    def weighed(power: int) -> float:
        found, _ = integrate.quad(
            lambda rank: (w := share.ppf(rank)) ** power * (w * math.exp(3.0) + 1.0 - w), 0.0, 1.0
        )
        return found

    (first, _) = doubts_of(np.array([0.0, 3.0]))
    assert first == pytest.approx(weighed(1) / weighed(0), abs=2e-3)


def test_modes_of_which_nothing_was_seen_say_nothing_and_follow_the_others() -> None:
    doubts = doubts_of(np.array([0.0, 4.0, 4.0, 0.0]))
    assert doubts[0] == doubts[3] > 2.0 * DOUBT
    assert doubts_of(np.array([0.0, -4.0]))[0] < DOUBT


def test_a_mode_that_wears_with_time_raises_the_doubt_in_another() -> None:
    alone = learn(KEEPER, [])
    worn, keeper = weigh_together([fit(BOLT, BY_HOURS), fit(KEEPER, [])])
    assert worn.beliefs[1] > 0.5
    assert keeper.beliefs[1] > alone.beliefs[1] + 0.1
    assert sum(keeper.beliefs) == pytest.approx(1.0)


def test_a_mode_without_a_logged_cause_has_no_say() -> None:
    keeper, rubbed = weigh_together([fit(KEEPER, []), fit(RUBBED, BY_HOURS)])
    assert keeper.beliefs[1] == pytest.approx(DOUBT, abs=1e-3)
    assert rubbed.beliefs == pytest.approx(learn(RUBBED, BY_HOURS).beliefs)
