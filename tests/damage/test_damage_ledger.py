"""What runs put on an engine, and what a part has taken of it."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.damage.ledger import BRIEF, Loads, column_of, make_ledger, taken_in, usual_rates
from babbitt.model.engine_spec import LifeSection
from babbitt.model.part_records import HistoryRecord, Stretch
from made_lives import MAY, a_ledger, a_run, an_event, day, taken

RUNNING = column_of("running")
STARVED = column_of("oil_starvation")


def test_a_run_has_its_hours_and_the_doses_of_its_events() -> None:
    runs = [a_run("late", at=day(1), hours=0.5), a_run("early", unwatched=["oil_starvation"])]
    events = [an_event("a", run_id="late", dose=7.0), an_event("b", run_id="late", dose=2.0)]
    ledger = make_ledger("E1", runs, [each.event for each in events])
    assert ledger.run_ids == ("early", "late")
    assert ledger.running_h.tolist() == [1.0, 0.5]
    assert ledger.doses[:, STARVED].tolist() == [0.0, 9.0]
    assert ledger.unwatched_h[:, STARVED].tolist() == [1.0, 0.0]
    assert ledger.unwatched_h[:, RUNNING].tolist() == [0.0, 0.0]


def test_fatigue_counts_in_hours_and_is_unwatched_where_no_log_tells() -> None:
    told = replace(a_run("told"), rod_fatigue_s=7200.0, spring_fatigue_s=1800.0)
    ledger = make_ledger("E1", [told, a_run("untold", at=day(1))], [])
    for cause, hours in (("fatigue.rod", 2.0), ("fatigue.spring", 0.5)):
        assert ledger.doses[:, column_of(cause)].tolist() == [hours, 0.0]
        assert ledger.unwatched_h[:, column_of(cause)].tolist() == [0.0, 1.0]
    (rate,) = usual_rates([ledger], LifeSection(), build_h=None)[[column_of("fatigue.rod")]]
    assert rate == pytest.approx((2.0 + 1.0) / (1.0 + 1.0))


def test_an_event_reviewed_as_a_sensor_fault_is_no_dose() -> None:
    faulty = an_event(run_id="r1", review="sensor_fault").event
    assert not make_ledger("E1", [a_run()], [faulty]).doses[:, STARVED].any()


def test_running_before_the_logs_counts_in_the_build_that_it_ends_in() -> None:
    before = HistoryRecord(1, "E1", None, 7200.0, None, MAY, "", 1)
    ledger = make_ledger("E1", [a_run(at=day(1))], [], [before])
    assert ledger.within(day(-9), MAY).tolist() == [True, False]
    assert ledger.logged.tolist() == [False, True]
    assert ledger.unwatched_h[0, STARVED] == 2.0
    assert math.isnan(ledger.revolutions[0])


def test_an_engine_without_runs_has_an_empty_ledger() -> None:
    ledger = make_ledger("E1", [], [])
    assert ledger.doses.shape == ledger.unwatched_h.shape == (0, len(taken().doses))
    assert taken_in({"E1": ledger}, [Stretch("E1", None, MAY)]).running_h == 0.0


def test_a_part_has_what_it_ran_in_each_engine() -> None:
    ledgers = {
        name: a_ledger({"running": 1.0}, {"running": 2.0}, {"running": 4.0}, engine_id=name)
        for name in ("E1", "E2")
    }
    carried = [Stretch("E1", None, day(1)), Stretch("E2", day(1), day(2))]
    assert taken_in(ledgers, carried).running_h == 3.0
    assert taken_in(ledgers, carried).revolutions == 2000.0


@given(st.lists(st.integers(0, 6), min_size=2, max_size=5, unique=True))
def test_stretches_that_meet_add_up_to_one(days: list[int]) -> None:
    ledgers = {"E1": a_ledger(*({"running": 2.0**n, "oil_starvation": n} for n in range(6)))}
    bounds = sorted(days)
    parts = [Stretch("E1", day(a), day(b)) for a, b in pairwise(bounds)]
    whole = taken_in(ledgers, [Stretch("E1", day(bounds[0]), day(bounds[-1]))])
    assert taken_in(ledgers, parts).doses.tolist() == whole.doses.tolist()


def test_a_part_bought_used_brings_hours_that_nobody_watched() -> None:
    found = taken_in({"E1": a_ledger({"running": 1.0})}, [], own_history_h=6.5)
    assert found.running_h == 6.5
    assert found.unwatched_h[STARVED] == 6.5
    assert found.unwatched_h[RUNNING] == 0.0
    assert math.isnan(found.revolutions)


def test_a_usual_rate_is_the_dose_of_a_watched_hour_and_never_zero() -> None:
    life = LifeSection(oil_starvation=400.0, over_rev=900.0)
    ledger = a_ledger(*({"running": 1.0, "oil_starvation": 50.0} for _ in range(9)))
    rates = usual_rates([ledger], life, build_h=10.0)
    # a tenth of 400 in ten hours, believed for one hour, beside 450 in nine
    assert rates[STARVED] == pytest.approx((450.0 + 4.0) / 10.0)
    assert rates[column_of("over_rev")] == pytest.approx(9.0 / 10.0)
    assert rates[RUNNING] == 0.0
    earlier = usual_rates([ledger], life, build_h=10.0, before=MAY)
    assert earlier[STARVED] == pytest.approx(4.0)


def test_what_was_not_watched_is_expected_at_the_usual_rate() -> None:
    rates = np.full(len(taken().doses), 3.0)
    now = taken(running=10.0, oil_starvation=40.0, unwatched_h={"oil_starvation": 4.0})
    load = Loads(rates).of(now)
    assert load.doses["oil_starvation"] == 40.0
    assert load.unwatched == {"oil_starvation": 12.0}


def test_a_brief_time_that_was_not_watched_is_counted_at_its_mean() -> None:
    rates = np.full(len(taken().doses), 3.0)
    now = taken(running=10.0, oil_starvation=40.0, unwatched_h={"oil_starvation": 10.0 * BRIEF})
    load = Loads(rates).of(now)
    assert load.doses["oil_starvation"] == pytest.approx(40.0 + 30.0 * BRIEF)
    assert load.unwatched == {}


def test_only_what_was_not_watched_since_the_last_look_is_unseen() -> None:
    rates = np.full(len(taken().doses), 3.0)
    sound = taken(running=5.0, oil_starvation=30.0, unwatched_h={"oil_starvation": 4.0})
    now = taken(running=10.0, oil_starvation=40.0, unwatched_h={"oil_starvation": 4.0})
    load = Loads(rates).of(now, sound)
    assert load.unwatched == {}
    assert load.sound_at["oil_starvation"] == 30.0
