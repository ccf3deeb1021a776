"""What the record leaves open is said, and what is grave holds the engine back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from babbitt.damage.looks import LastLook
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from babbitt.outlook.ahead import LEAST_RUNS, pool_of
from babbitt.outlook.gaps import Coverage, gaps_of
from babbitt.present.outlook_words import gap_in_words
from made_lives import MAY, READER, a_ledger, day, like_parts, taken

LIFE = LifeSection(over_rev=900.0, oil_starvation=400.0)
RUNS = a_ledger(*({"running": 1.0} for _ in range(LEAST_RUNS)))
WHOLE = Coverage(
    runs=5,
    unlogged_s=0.0,
    watched_share=dict.fromkeys(KINDS, 1.0),
    stale=0,
    unjudged=0,
    last_run=MAY,
    unlived={},
)


def doubts(coverage=WHOLE, *, fitted=(), ledger=RUNS, since=MAY, days=10):
    pool = pool_of(ledger, since, None, [ledger])
    found = gaps_of(coverage, fitted, pool, LIFE, at=day(days))
    return [(gap_in_words(each, READER), each.grave) for each in found]


def test_a_whole_record_leaves_no_doubt() -> None:
    assert doubts() == []


@pytest.mark.parametrize(
    ("change", "said", "grave"),
    [
        ({"stale": 3}, "3 events were found under other limits than today's", True),
        ({"unjudged": 2}, "2 runs have not been searched for events", True),
        ({"unlogged_s": 5400.0}, "1 h 30 min of running was not logged", False),
        ({"runs": 0, "last_run": None}, "No runs since the refresh", False),
        ({"watched_share": {"over_rev": 0.7}}, "over-rev 70 %", False),
        ({"watched_share": {"oil_starvation": 0.0}}, "oil starvation 0 %", True),
    ],
)
def test_each_doubt_is_said(change, said, grave) -> None:
    ((sentence, is_grave),) = doubts(replace(WHOLE, **change))
    assert said in sentence
    assert is_grave is grave


def test_a_kind_without_a_life_dose_is_not_missed() -> None:
    assert doubts(replace(WHOLE, watched_share={"overboost": 0.0})) == []


def test_an_engine_that_stood_for_long_is_not_judged_by_its_runs_alone() -> None:
    assert doubts(days=179) == []
    ((sentence, grave),) = doubts(days=182)
    assert sentence.startswith("It last ran on 3 May 2026, 182 days before")
    assert grave


def test_modes_that_cannot_be_judged_are_named() -> None:
    unlived = {"cold_load": (("cam_lobe", "scuffed"), ("follower", "scuffed"))}
    ((sentence, grave),) = doubts(replace(WHOLE, unlived=unlived))
    assert "states no dose of cold_load" in sentence
    assert "(cam lobe, cam follower)" in sentence
    assert not grave


def test_damage_that_is_still_in_is_named_and_grave_beyond_a_limit() -> None:
    wiped = like_parts(now=taken(), looked={"wiped": LastLook(day(1), taken(), 3)})
    assert [grave for _, grave in doubts(fitted=[wiped])] == [True]
    worn = like_parts(now=taken(), positions=("2",), looked={"worn": LastLook(day(1), taken(), 2)})
    ((sentence, grave),) = doubts(fitted=[worn])
    assert sentence.startswith("Rod bearing 2 was found worn (grade 2) and is still in")
    assert not grave


def test_few_runs_to_expect_the_next_from_are_told() -> None:
    ((sentence, grave),) = doubts(since=day(3))
    assert f"like all {LEAST_RUNS} of this engine" in sentence
    ((sentence, _),) = doubts(ledger=a_ledger({"running": 1.0}))
    assert "like all 1 of its type" in sentence
    ((sentence, grave),) = doubts(ledger=a_ledger())
    assert "no logged run" in sentence
    assert grave


def test_the_grave_come_first() -> None:
    graves = [grave for _, grave in doubts(replace(WHOLE, unlogged_s=60.0, stale=1), since=day(3))]
    assert graves == [True, False, False]
