import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from babbitt.model.exposure import KindSums, WindowSums
from babbitt.model.kinds import KINDS
from babbitt.totals.totals import make_totals
from totals_runs import SPEC

REFRESH = datetime(2025, 4, 1, tzinfo=UTC)
NOTHING = KindSums(watched_s=0.0, count=0, duration_s=0.0, dose=0.0, stale=0)
EMPTY = WindowSums(
    runs=0,
    unlogged_runs=0,
    running_s=0.0,
    unlogged_s=0.0,
    revolutions=0.0,
    starts=0,
    heat_cycles=0.0,
    runs_without_heat_cycles=0,
    kinds=dict.fromkeys(KINDS, NOTHING),
    first_start=None,
    last_end=None,
)
SEASON = replace(
    EMPTY,
    runs=4,
    unlogged_runs=1,
    running_s=4000.0,
    unlogged_s=1000.0,
    revolutions=250_000.0,
    starts=5,
    heat_cycles=1.5,
    runs_without_heat_cycles=2,
    kinds=dict.fromkeys(KINDS, NOTHING)
    | {
        "over_rev": KindSums(watched_s=3000.0, count=2, duration_s=1.5, dose=225.0, stale=1),
        "overboost": KindSums(watched_s=2000.0, count=0, duration_s=0.0, dose=0.0, stale=0),
    },
    first_start=datetime(2025, 5, 3, 9, 30, tzinfo=UTC),
    last_end=datetime(2025, 5, 4, 17, 0, tzinfo=UTC),
)


def totals_of(sums, since=REFRESH):
    return make_totals(sums, SPEC, "E1", since)


def kind_of(sums, kind):
    return next(row for row in totals_of(sums).events if row.kind == kind)


def test_every_kind_is_there_in_order():
    assert tuple(row.kind for row in totals_of(EMPTY).events) == tuple(KINDS)


def test_dose_is_held_against_the_life_of_the_spec():
    over_rev = kind_of(SEASON, "over_rev")
    assert (over_rev.count, over_rev.duration_s, over_rev.dose) == (2, 1.5, 225.0)
    assert (over_rev.limit, over_rev.dose_unit) == (900.0, "weighted rev")
    assert over_rev.used == pytest.approx(0.25)
    assert over_rev.stale == 1


def test_watched_time_stands_beside_the_dose_as_a_share_of_all_running():
    over_rev = kind_of(SEASON, "over_rev")
    assert over_rev.watched_s == 3000.0
    assert over_rev.watched_share == pytest.approx(0.75)


def test_a_kind_without_a_life_has_no_limit_and_no_share_used():
    overboost = kind_of(SEASON, "overboost")
    assert (overboost.dose, overboost.limit, overboost.used) == (0.0, None, None)


def test_a_kind_never_watched_is_unknown_not_zero():
    starvation = kind_of(SEASON, "oil_starvation")
    assert (starvation.count, starvation.dose, starvation.used) == (0, None, None)
    assert starvation.limit == 400.0
    assert starvation.watched_share == 0.0


def test_an_event_seen_outside_running_has_its_dose():
    """A heat soak after shutdown needs no running to be seen."""
    soak = KindSums(watched_s=0.0, count=1, duration_s=30.0, dose=90.0, stale=0)
    sums = replace(SEASON, kinds={**SEASON.kinds, "coolant_overheat": soak})
    assert kind_of(sums, "coolant_overheat").dose == 90.0


def test_an_engine_that_never_ran_has_taken_nothing():
    totals = totals_of(EMPTY)
    assert (totals.runs, totals.running_s, totals.revolutions) == (0, 0.0, 0.0)
    assert (totals.starts, totals.heat_cycles) == (0, 0.0)
    assert {(row.dose, row.watched_share) for row in totals.events} == {(0.0, None)}


def test_what_only_unlogged_running_did_is_unknown():
    sums = replace(
        EMPTY,
        runs=2,
        unlogged_runs=2,
        running_s=600.0,
        unlogged_s=600.0,
        runs_without_heat_cycles=2,
    )
    totals = totals_of(sums)
    assert (totals.running_s, totals.unlogged_s) == (600.0, 600.0)
    assert (totals.revolutions, totals.starts, totals.heat_cycles) == (None, None, None)
    assert {row.dose for row in totals.events} == {None}


def test_heat_cycles_are_unknown_where_no_run_could_tell():
    totals = totals_of(replace(SEASON, heat_cycles=0.0, runs_without_heat_cycles=4))
    assert totals.heat_cycles is None
    assert totals.revolutions == 250_000.0


def test_json_has_the_shape_of_the_contract():
    found = totals_of(SEASON).to_json()
    assert json.loads(json.dumps(found)) == found
    assert found["engine_id"] == "E1"
    assert found["since"] == "2025-04-01T00:00:00+00:00"
    assert (found["runs"], found["running_s"], found["starts"]) == (4, 4000.0, 5)
    assert list(found["events"]) == list(KINDS)
    assert found["events"]["over_rev"] == {
        "count": 2,
        "duration_s": 1.5,
        "dose": 225.0,
        "dose_unit": "weighted rev",
        "limit": 900.0,
        "used": 0.25,
        "watched_s": 3000.0,
        "watched_share": 0.75,
        "stale": 1,
    }


def test_json_times_are_utc_or_null():
    summer = timezone(timedelta(hours=2))
    found = totals_of(EMPTY, since=datetime(2025, 4, 1, 2, 0, tzinfo=summer)).to_json()
    assert (found["since"], found["first_run"]) == ("2025-04-01T00:00:00+00:00", None)
    assert totals_of(EMPTY, since=None).to_json()["since"] is None
