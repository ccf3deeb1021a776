"""Findings and their causes, and what the log gives reason to look at again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.damage.attribution import Found, Spared, alike, explain, look_again
from babbitt.damage.model import Load
from babbitt.model.damage_modes import mode_named
from babbitt.model.finding import Finding
from babbitt.present.blame_words import look_again_sentence, match_sentence
from made_lives import READER, WIPED, an_event, known

POSTERIOR = known(oil_starvation=(100.0, 2.0), oil_overheat=(50.0, 2.0), unlogged=0.1)
HEAVY = Load({"oil_starvation": 100.0, "oil_overheat": 20.0})


def found(load: Load = HEAVY, *, position="2", finding_id=7, spared=(), events=()) -> Found:
    finding = Finding("rod_bearing", position, "wiped", 3, None, "replace")
    return Found(finding_id, finding, load, tuple(events) or (an_event(),), spared)


def spared(load: Load = HEAVY, *, mode=WIPED, looked_at=True, positions=(None,)) -> Spared:
    return Spared(mode, positions, load, (an_event(),), looked_at)


@given(st.floats(0.0, 1e3), st.floats(0.0, 1e3))
def test_the_shares_of_a_finding_sum_to_one_and_the_log_is_never_all(dry, hot) -> None:
    match = explain(found(Load({"oil_starvation": dry, "oil_overheat": hot})), POSTERIOR)
    assert sum(blame.share.p for blame in match.blames) == pytest.approx(1.0)
    assert {blame.cause for blame in match.blames} == {"oil_starvation", "oil_overheat", "unlogged"}
    assert next(b for b in match.blames if b.cause == "unlogged").share.p > 0.0


def test_json_is_as_the_contract_says() -> None:
    match = explain(found(), POSTERIOR).to_json()
    assert match["finding_id"] == 7
    assert match["part"] == "rod_bearing"
    assert match["position"] == "2"
    assert match["damage_mode"] == "wiped"
    assert match["grade"] == 3
    first = match["causes"][0]
    assert first["cause"] == "oil_starvation"
    expected = pytest.approx(1.0 / 1.26)
    assert (first["low"], first["probability"], first["high"]) == (expected, expected, expected)
    assert first["events"] == ["e1"]


def test_a_match_reads_as_a_builder_would_say_it() -> None:
    match = explain(found(), POSTERIOR)
    assert match_sentence([match], READER, {"e1": 7449.0}) == (
        "Rod bearing 2 wiped: 79 % starved of oil in long left-handers, 1 event, worst 120 kPa at "
        "7,450 rpm on 3 May 2026; 13 % hot oil; 8 % not in the log."
    )


def test_like_parts_without_damage_are_named_beside_it() -> None:
    match = explain(found(spared=("1", "3")), POSTERIOR)
    text = match_sentence([match], READER, {})
    assert text.startswith("Rod bearing 2 wiped (1, 3 without damage): ")


def test_findings_that_are_alike_are_told_together() -> None:
    two = explain(found(), POSTERIOR)
    three = explain(found(position="3", finding_id=8), POSTERIOR)
    other = explain(found(Load({"oil_overheat": 90.0}), position="4", finding_id=9), POSTERIOR)
    groups = alike([two, other, three])
    assert groups == [(two, three), (other,)]
    assert match_sentence(groups[0], READER, {}).startswith("Rod bearing 2, 3 wiped: ")


def test_what_the_log_does_not_explain_points_to_the_assembly() -> None:
    match = explain(found(Load({"oil_starvation": 5.0})), POSTERIOR)
    assert match.unexplained
    assert "look at the assembly: too little clearance" in match_sentence([match], READER, {})
    assert not explain(found(), POSTERIOR).unexplained


def test_small_causes_are_told_together() -> None:
    posterior = known(
        oil_starvation=(100.0, 2.0), oil_overheat=(50.0, 2.0), cold_load=(9.0, 2.0), unlogged=0.1
    )
    match = explain(
        found(Load({"oil_starvation": 100.0, "oil_overheat": 7.0, "cold_load": 1.0})), posterior
    )
    assert "; 3 % other logged causes; 9 % not in the log." in match_sentence([match], READER, {})


def test_heavy_events_with_nothing_found_are_worth_another_look() -> None:
    (suspect,) = look_again([spared()], {WIPED: POSTERIOR})
    assert suspect.chance.p > 0.6
    text = look_again_sentence(suspect, READER, {})
    assert text.startswith("Rod bearing was found sound, yet 72 % likely wiped")
    assert "starved of oil in long left-handers, 1 event" in text
    assert WIPED.look_for in text


def test_what_nobody_looked_at_is_said_so() -> None:
    (suspect,) = look_again([spared(looked_at=False)], {WIPED: POSTERIOR})
    assert "was not looked at" in look_again_sentence(suspect, READER, {})


def test_light_loads_and_what_no_log_explains_are_left_alone() -> None:
    light = spared(Load({"oil_starvation": 20.0}))
    careless = known(oil_starvation=(1e6, 2.0), unlogged=0.9)
    assert look_again([light], {WIPED: POSTERIOR}) == ()
    assert look_again([spared()], {WIPED: careless}) == ()
    assert look_again([spared()], {}) == ()


def test_one_damage_mode_a_part_is_enough() -> None:
    worn = mode_named("rod_bearing", "worn")
    posteriors = {WIPED: POSTERIOR, worn: known(oil_starvation=(50.0, 2.0))}
    (suspect,) = look_again([spared(), spared(mode=worn)], posteriors)
    assert suspect.mode == worn, "the likelier one"
