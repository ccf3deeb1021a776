"""The engines beside one another: order, what drove each call, and what the next runs add."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta

import pytest

from babbitt.logbook.folder import Logbook
from babbitt.outlook.drift import Drift
from babbitt.present.views.fleet import (
    Fleet,
    advice,
    because,
    drift_in_figures,
    fleet,
    lately_in_words,
    quality_in_words,
    watched_share,
)
from babbitt.present.views.foresight import Foresight
from babbitt.present.words import Reader
from babbitt.register.records import corrections
from engine_book import NOW, add_run

METRIC = Reader("metric", UTC)


def read(book: Logbook, **wanted: object) -> Fleet:
    return fleet(Foresight(book).at(NOW), **{"runs": 1, **wanted})


def ids(found: Fleet) -> list[str]:
    return [engine.engine_id for engine in found.engines]


def test_the_engine_to_pull_comes_first_and_the_sentence_names_it(engine_book: Logbook) -> None:
    found = read(engine_book)
    assert [engine.call for engine in found.engines] == ["pull", "inspect", "run on"]
    assert ids(found) == ["E1", "E2", "E3"]
    assert advice(found) == "Pull E1. Inspect E2. Run on with E3."


def test_what_drove_a_call_is_a_phrase_of_its_weightiest_ground(engine_book: Logbook) -> None:
    pulled, passed, idle = (engine.outlook for engine in read(engine_book).engines)
    on = pulled.verdict.decisive
    assert on is not None
    any_of = pulled.verdict.chance
    assert because(pulled, METRIC) == (
        f"a part to replace {100 * any_of.p:.0f} % ({100 * any_of.low:.0f}–{100 * any_of.high:.0f} "
        f"%), first {on.mode.part.replace('_', ' ')} {on.mode.title}"
    )
    assert because(passed, METRIC) == "rod bearing past its service limit of running hours"
    drifted = replace(pulled, verdict=replace(pulled.verdict, grounds=("pressure",)))
    assert because(drifted, METRIC) == "oil pressure 11 % lower than fresh"
    assert because(
        replace(idle, verdict=replace(idle.verdict, grounds=(), decisive=None)), METRIC
    ) == ("no damage mode could be judged")


def test_the_next_runs_add_what_a_run_added_so_far(engine_book: Logbook) -> None:
    # six runs of one starvation of dose 8 each, against a life dose of 100
    for runs in (1, 3):
        use = read(engine_book, runs=runs).engines[0].life["oil_starvation"]
        assert use.used == pytest.approx(0.48)
        assert use.ahead == pytest.approx(0.08 * runs)


@pytest.mark.parametrize(
    ("sort", "first"),
    [("engine", "E1"), ("running", "E1"), ("pressure", "E1"), ("last", "E2"), ("over_rev", "E1")],
)
def test_engines_are_sorted_by_what_wants_a_look_first(
    engine_book: Logbook, sort: str, first: str
) -> None:
    assert ids(read(engine_book, sort=sort))[0] == first


def test_what_was_not_watched_or_logged_is_said(engine_book: Logbook) -> None:
    with engine_book.register.writing("Ann") as session:
        add_run(session, "E2", NOW - timedelta(days=1), blind=("oil_starvation",))
        corrections.add_unlogged(session, "E2", minutes=30, at=NOW - timedelta(hours=20))
    whole, partly, none = (engine.totals for engine in read(engine_book, sort="engine").engines)
    assert quality_in_words(whole) == "Whole"
    assert watched_share(partly) == pytest.approx(6.0 / 7.5)
    assert quality_in_words(partly) == "Oil starvation watched 80 %; 30 min 00 s not logged"
    assert quality_in_words(none) == "no runs"


def test_runs_of_the_newest_outing_are_counted(engine_book: Logbook) -> None:
    # E2 ran daily from 10 to 15 February, E1 until 6 February
    found = read(engine_book)
    assert lately_in_words(found, Reader("metric", UTC)) == "4 runs since 12 Feb 2026"


def test_many_engines_of_one_call_are_counted_and_not_named(engine_book: Logbook) -> None:
    found = read(engine_book)
    many = replace(found, engines=found.engines[:1] * 7)
    assert advice(many) == "Pull 7 engines."


@pytest.mark.parametrize(
    ("change", "figures"), [(-0.081, "−8 %"), (0.034, "+3 %"), (-0.004, "0 %"), (0.0, "0 %")]
)
def test_drift_is_told_as_signed_per_cent(change: float, figures: str) -> None:
    assert drift_in_figures(Drift(3500.0, 100.0, change, change, change, 5.0, 4)) == figures


def test_a_drift_that_is_not_known_is_a_dash() -> None:
    assert drift_in_figures(None) == "–"
