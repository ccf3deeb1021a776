"""Limits of parts: how far they are used, and which is reached first."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.damage.ledger import column_of
from babbitt.damage.looks import LastLook
from babbitt.model.damage_modes import causes
from babbitt.model.engine_spec import LifeSection
from babbitt.model.service_limits import ServiceLimit
from babbitt.outlook.ahead import FUTURES, MOST_RUNS, Ahead, draw_ahead, pool_of
from babbitt.outlook.gauges import Gauge, Limit, life_gauges, service_gauges
from babbitt.outlook.reach import first_reach, passed
from babbitt.present.outlook_words import limit_in_words
from made_lives import NO_RATES, a_ledger, day, like_parts, taken

LIFE = LifeSection(oil_starvation=100.0)


def steady(**per_run: float) -> Ahead:
    """Futures in which every run is the same."""
    ledger = a_ledger(*({"running": 0.5} | per_run for _ in range(5)))
    pool = pool_of(ledger, day(0), None, [ledger])
    return draw_ahead(pool, np.zeros(len(causes())), runs=MOST_RUNS)


def gauge(used: float, per_run: float, limit: str = "x") -> Gauge:
    ahead = np.tile(per_run * np.arange(1.0, MOST_RUNS + 1)[:, None], FUTURES)
    return Gauge("rod", (None,), limit, used, 1.0 - used, ahead)


@pytest.mark.parametrize(
    ("used", "per_run", "runs"), [(0.5, 0.125, 4), (0.5, 0.13, 4), (1.0, 0.1, 0), (0.1, 0.01, None)]
)
def test_a_limit_is_reached_after_so_many_runs(used, per_run, runs) -> None:
    reach = first_reach([gauge(used, per_run)])
    assert reach is not None
    assert (reach.low, reach.runs, reach.high) == (runs, runs, runs)


def test_the_first_limit_is_told_and_the_most_used_where_none_is_near() -> None:
    first = first_reach([gauge(0.9, 0.01, "slow"), gauge(0.2, 0.2, "fast")])
    assert first is not None
    assert first.limit == "fast"
    far = first_reach([gauge(0.1, 0.0, "a"), gauge(0.3, 0.0, "b")])
    assert far is not None
    assert (far.limit, far.runs) == ("b", None)
    assert first_reach([]) is None


def test_passed_limits_are_listed_most_used_first() -> None:
    found = passed([gauge(1.1, 0.1, "a"), gauge(0.9, 0.1, "b"), gauge(1.5, 0.1, "c")])
    assert [reach.limit for reach in found] == ["c", "a"]


def test_an_uncertain_future_has_an_interval() -> None:
    rng = np.random.default_rng(3)
    ahead = rng.exponential(0.1, (MOST_RUNS, FUTURES)).cumsum(axis=0)
    reach = first_reach([Gauge("rod", (None,), "x", 0.0, 1.0, ahead)])
    assert reach is not None
    # The tenth of exponential steps of a tenth: the runs before it are Poisson around 10.
    assert (reach.low, reach.runs, reach.high) == pytest.approx((6, 11, 16), abs=1)


def test_life_is_used_by_what_was_taken_since_the_part_was_last_found_sound() -> None:
    looked_at = {"wiped": LastLook(day(1), taken(oil_starvation=60.0))}
    sound = like_parts(
        now=taken(oil_starvation=90.0),
        looked=dict.fromkeys(("wiped", "worn", "overheated"), looked_at["wiped"]),
    )
    (primary,) = life_gauges([sound], LIFE, steady(oil_starvation=10.0), NO_RATES)
    assert primary.used == pytest.approx(0.3)
    reach = first_reach([primary])
    assert reach is not None
    assert reach.runs == 7


def test_a_contributing_cause_needs_ten_lives() -> None:
    skirt = like_parts("piston_skirt", now=taken(oil_starvation=90.0))
    (contributing,) = life_gauges([skirt], LIFE, steady(), NO_RATES)
    assert contributing.used == pytest.approx(0.09)


def test_the_part_that_has_used_most_stands_for_its_cause() -> None:
    fresh = like_parts("main_bearing", now=taken(oil_starvation=10.0))
    old = like_parts("rod_bearing", now=taken(oil_starvation=80.0))
    (only,) = life_gauges([fresh, old], LIFE, steady(), NO_RATES)
    assert (only.part, only.limit) == ("rod_bearing", Limit("life", "oil_starvation"))


def test_service_limits_are_of_hours_revolutions_and_doses() -> None:
    limit = ServiceLimit(running_h=10.0, revolutions=8000.0, dose={"oil_starvation": 50.0})
    part = like_parts(now=taken(running=4.0, oil_starvation=20.0))
    found = service_gauges([part], {"rod_bearing": limit}, steady(), NO_RATES)
    used = {limit_in_words(each.limit): each.used for each in found}
    assert used == {
        "service limit of running hours": pytest.approx(0.4),
        "service limit of oil starvation": pytest.approx(0.4),
        "service limit of revolutions": 0.0,
    }
    reaches = {limit_in_words(each.limit): first_reach([each]) for each in found}
    revolutions = reaches["service limit of revolutions"]
    assert revolutions is not None
    assert revolutions.runs == 8, "a thousand a run"


def test_revolutions_that_nobody_knows_are_no_gauge() -> None:
    part = like_parts(now=taken(running=4.0))
    unknown = type(part.now)(part.now.doses, part.now.unwatched_h, float("nan"))
    limit = ServiceLimit(revolutions=8000.0)
    like = like_parts(now=unknown)
    assert service_gauges([like], {"rod_bearing": limit}, steady(), NO_RATES) == []
    assert service_gauges([part], {}, steady(), NO_RATES) == []


def test_a_gauge_looks_at_its_own_cause() -> None:
    ahead = steady(oil_starvation=10.0, over_rev=99.0)
    (only,) = life_gauges([like_parts(now=taken())], LIFE, ahead, NO_RATES)
    assert only.ahead[0, 0] == 10.0
    assert ahead.doses[column_of("over_rev"), 0, 0] == 99.0
