"""Causes to blame, in figures and in words."""

from __future__ import annotations

import pytest

from babbitt.damage.blame import Blame, BlamedEvent, blames_of
from babbitt.damage.chance import Estimate
from babbitt.damage.model import Load
from babbitt.present.blame_words import blame_in_words, cause_in_words
from babbitt.present.words import Reader
from made_lives import MAY, READER, an_event, day, known

POSTERIOR = known(oil_starvation=(100.0, 2.0), oil_overheat=(50.0, 2.0), unlogged=0.1)
LOAD = Load({"oil_starvation": 100.0, "oil_overheat": 25.0})


def starved(*events) -> Blame:
    dose = sum(each.event.dose for each in events)
    blamed = tuple(BlamedEvent(each, each.event.dose / dose) for each in events)
    return Blame("oil_starvation", Estimate(0.7, 0.2, 0.9), blamed)


def test_causes_come_in_order_of_their_share_with_their_worst_event_first() -> None:
    events = [an_event("small", dose=20.0), an_event("large", dose=80.0, at=day(2))]
    first, second, third = blames_of(POSTERIOR, LOAD, events, found=True)
    assert [first.cause, second.cause, third.cause] == [
        "oil_starvation",
        "oil_overheat",
        "unlogged",
    ]
    assert [b.share.p for b in (first, second, third)] == pytest.approx(
        [1.0 / 1.35, 0.25 / 1.35, 0.1 / 1.35]
    )
    assert [each.dated.event.event_id for each in first.events] == ["large", "small"]
    assert [each.share for each in first.events] == pytest.approx([0.8, 0.2])
    assert second.events == third.events == ()


def test_an_event_reviewed_as_harmless_is_not_to_blame() -> None:
    first, *_ = blames_of(POSTERIOR, LOAD, [an_event(review="harmless")], found=True)
    assert first.events == ()


@pytest.mark.parametrize(
    ("sides", "seconds", "words"),
    [
        (["left", "left"], 0.4, "starved of oil in left-handers"),
        (["left", "left"], 1.5, "starved of oil in long left-handers"),
        (["right", "right"], 0.4, "starved of oil in right-handers"),
        (["left", "right"], 0.4, "starved of oil in corners"),
    ],
)
def test_the_direction_is_named_where_it_tells(sides, seconds, words) -> None:
    events = [an_event(str(n), side=s, duration_s=seconds) for n, s in enumerate(sides)]
    assert cause_in_words(starved(*events)) == words


def test_a_sentence_tells_the_worst_event() -> None:
    events = an_event("w", dose=30.0, peak=128.0, at=MAY), an_event("o", dose=5.0)
    assert blame_in_words(starved(*events), READER, {"w": 7453.0}) == (
        "starved of oil in long left-handers, 2 events, worst 128 kPa at 7,450 rpm on 3 May 2026"
    )
    assert "at 7,450 rpm" not in blame_in_words(starved(*events), READER, {})


def test_the_worst_over_rev_is_told_by_its_engine_speed() -> None:
    event = an_event(kind="over_rev", cause="driven", peak=8638.0)
    blame = Blame("over_rev.driven", Estimate(0.7, 0.2, 0.9), (BlamedEvent(event, 1.0),))
    words = blame_in_words(blame, READER, {})
    assert words == "over-revs driven by the wheels, 1 event, worst 8,640 rpm on 3 May 2026"


def test_an_imperial_reader_is_told_imperial_units() -> None:
    assert "psi" in blame_in_words(starved(an_event()), Reader("imperial", READER.timezone), {})
