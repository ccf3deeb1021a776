from __future__ import annotations

from dataclasses import replace

from babbitt.damage.doses import events_by_cause
from babbitt.model.damage_modes import causes
from babbitt.model.event import CERTAIN, Event

BASE = Event(
    event_id="e",
    run_id="r1",
    engine_id="E1",
    kind="overboost",
    start_s=10.0,
    end_s=12.0,
    duration_s=2.0,
    peak=200.0,
    peak_s=11.0,
    peak_unit="kPa",
    dose=20.0,
    dose_unit="kPa·s",
    cause=None,
    side=None,
    direction=None,
    ended_by="release",
    confidence=CERTAIN,
    review=None,
    spec_version="v",
)
HOT = replace(BASE, kind="coolant_overheat", start_s=11.0, end_s=60.0)


def test_over_revs_count_whole_and_by_how_they_came() -> None:
    driven = replace(BASE, kind="over_rev", cause="driven")
    on_power = replace(BASE, kind="over_rev", cause="on_power")
    found = events_by_cause([driven, on_power])
    assert found["over_rev"] == (driven, on_power)
    assert found["over_rev.driven"] == (driven,)
    assert found["over_rev.on_power"] == (on_power,)


def test_overboost_is_hot_where_it_meets_hot_coolant_of_the_same_run() -> None:
    other_run = replace(BASE, run_id="r2")
    earlier = replace(BASE, start_s=1.0, end_s=5.0)
    found = events_by_cause([BASE, other_run, earlier, HOT])
    assert found["overboost.hot"] == (BASE,)
    assert found["overboost.cool"] == (other_run, earlier)
    assert found["coolant_overheat"] == (HOT,)


def test_heat_soak_is_told_from_hot_oil_while_running() -> None:
    running = replace(BASE, kind="oil_overheat")
    soak = replace(running, cause="heat_soak")
    found = events_by_cause([running, soak])
    assert found["oil_overheat.running"] == (running,)
    assert found["oil_overheat.heat_soak"] == (soak,)


def test_what_a_person_has_ruled_out_counts_nowhere() -> None:
    faulty = replace(HOT, review="sensor_fault")
    found = events_by_cause([BASE, faulty, replace(BASE, review="harmless")])
    assert found["overboost.cool"] == (BASE,)
    assert found["coolant_overheat"] == ()


def test_the_causes_are_the_same_without_events() -> None:
    empty = events_by_cause([])
    assert set(empty) == {name for name, cause in causes().items() if cause.kind is not None}
    assert set(empty.values()) == {()}
