"""Looks at single parts, put together as the damage model learns from them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from babbitt.damage.looks import LastLook, Lives, observations, seen_in
from babbitt.model.part_records import Look, Stretch
from made_lives import MAY, NO_RATES, WIPED, a_ledger, an_event, day, like_parts, taken

LEDGERS = {"E1": a_ledger(*({"running": 1.0, "oil_starvation": 10.0} for _ in range(6)))}
WHOLE = (Stretch("E1", MAY, day(6)),)
A_LOOK = Look(
    1, "E1", day(6), "rod_bearing", "1", None, "wiped", 0, WHOLE, (), damaged_before=False
)


def seen(*looks: Look, dispositions=None):
    lives = Lives(LEDGERS, {})
    return seen_in(looks, lives, lambda _: 0.0, dispositions or {1: "reuse", 2: "replace"}, {})


def test_parts_that_ran_alike_are_one_look_and_damaged_if_any_was() -> None:
    (found,) = seen(A_LOOK, replace(A_LOOK, position="2", grade=3, finding_id=2))
    assert found.positions == ("1", "2")
    assert found.damaged
    assert not found.fitted_again
    assert found.now.running_h == 6.0


@pytest.mark.parametrize(("grade", "damaged"), [(0, False), (1, False), (2, True), (4, True)])
def test_a_trace_is_no_damage(grade: int, damaged: bool) -> None:
    (found,) = seen(replace(A_LOOK, grade=grade))
    assert found.damaged is damaged


def test_parts_that_did_not_run_alike_are_looks_of_their_own() -> None:
    newer = replace(A_LOOK, position="2", stretches=(Stretch("E1", day(4), day(6)),))
    assert [look.now.running_h for look in seen(A_LOOK, newer)] == [6.0, 2.0]


def test_damage_that_was_known_before_tells_nothing_new() -> None:
    assert seen(replace(A_LOOK, grade=3, damaged_before=True)) == ()


def test_a_part_looked_at_before_is_judged_from_there_on() -> None:
    (found,) = seen(replace(A_LOOK, sound_until=(Stretch("E1", MAY, day(4)),)))
    ((mode, (look,)),) = observations([found], NO_RATES).items()
    assert mode == WIPED
    assert look.load.doses["oil_starvation"] == 60.0
    assert look.load.sound_at["oil_starvation"] == 40.0


def test_events_belong_to_the_stretch_that_their_run_began_in() -> None:
    events = [an_event(str(n), at=day(n)) for n in range(4)]
    lives = Lives(LEDGERS, {"E1": events})
    assert lives.events((Stretch("E1", day(1), day(3)),)) == tuple(events[1:3])
    assert lives.events((Stretch("E2", None, day(3)),)) == ()


def test_parts_remember_only_the_events_since_they_were_last_found_sound() -> None:
    events = [an_event(str(n), at=day(n)) for n in range(3)]
    like = like_parts(now=taken(), events=events, looked={"wiped": LastLook(day(1), taken())})
    assert like.events_since(WIPED) == tuple(events[1:])
