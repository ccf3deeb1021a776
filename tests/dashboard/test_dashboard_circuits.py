"""Circuits on the pages, without a browser: chosen, looked ahead to, stated and corrected."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from babbitt.logbook.folder import Logbook
from babbitt.register.records import corrections, runs
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import engine, run
from babbitt_dashboard.pages.run_where import put_at
from dashboard_calls import text_of
from engine_book import NOW, add_run

HARD, EASY = "Tollbar Bowl", "Fennick"
LIKELY = re.compile(r"(\d+) % likely to have a part to replace")


@pytest.fixture
def desk(engine_book: Logbook) -> Desk:
    """E1 was starved in six runs at Tollbar Bowl, and ran three at Fennick without harm."""
    with engine_book.register.writing("Ann") as session:
        starved = [each.run_id for each in runs.list_runs(session, engine_id="E1")]
        corrections.set_circuit(session, starved, HARD)
        for n in range(3):
            add_run(session, "E1", NOW - timedelta(days=n + 1, hours=5), circuit=EASY)
    return Desk(engine_book, lambda: NOW, "Ann")


def likely(desk: Desk, circuit: str) -> int:
    """The chance that decides the call after ten more runs, in per cent."""
    verdict, *_ = engine.ahead(desk, "E1", 10, circuit)
    found = LIKELY.search(text_of(verdict))
    assert found is not None
    return int(found[1])


def test_the_choice_of_a_circuit_changes_what_the_next_runs_may_bring(desk: Desk) -> None:
    assert likely(desk, HARD) > likely(desk, "") > likely(desk, EASY)


def test_all_that_the_page_shows_of_it_goes_with_the_choice(desk: Desk) -> None:
    everywhere = engine.ahead(desk, "E1", 3, "")
    _, line, outlook, taken, state, label, report, drawn = engine.ahead(desk, "E1", 3, EASY)
    assert state == {"runs": 3, "circuit": EASY}
    assert label == "after 3 more runs"
    assert report == "/report/engine/E1.html?runs=3&circuit=Fennick"
    assert "Drawn from 3 runs of E1 at Fennick in its present build." in text_of(drawn)
    assert "now and after 3 more runs at Fennick" in text_of(outlook)
    assert everywhere[-1] == []
    assert text_of(line) != text_of(everywhere[1])
    assert text_of(taken) != text_of(everywhere[3])


def test_the_address_holds_the_circuit_and_the_page_offers_those_of_the_type(desk: Desk) -> None:
    page = text_of(engine.layout(desk, "E2", runs="2", circuit="tollbar  bowl"))
    assert '{"runs": 2, "circuit": "Tollbar Bowl"}' in page
    assert "after 2 more runs at Tollbar Bowl" in page
    assert "by engines of its type: 6 by E1." in page
    for words in ("at any circuit", "at Fennick", "at Tollbar Bowl"):
        assert f'"label": "{words}"' in page
    assert "/report/engine/E2.html?runs=2&circuit=Tollbar+Bowl" in page


def test_a_circuit_that_nobody_knows_is_a_sentence_above_what_any_would_bring(desk: Desk) -> None:
    page = text_of(engine.layout(desk, "E1", circuit="Rookmere"))
    assert "was logged at Rookmere. Known circuits: Fennick, Tollbar Bowl." in page
    assert "What follows is for any circuit." in page
    assert '"circuit": null' in page
    refused, *_ = engine.ahead(desk, "E1", 2, "Rookmere")
    assert "Known circuits: Fennick, Tollbar Bowl." in text_of(refused)


def test_without_a_known_circuit_the_choice_says_so(engine_book: Logbook) -> None:
    page = text_of(engine.layout(Desk(engine_book, lambda: NOW, "Ann"), "E1"))
    assert '"disabled": true' in page
    assert "no circuit is known" in page


def test_the_printed_page_is_of_the_same_circuit(desk: Desk) -> None:
    client = make_app(desk).server.test_client()
    report = client.get("/report/engine/E1.html?runs=3&circuit=fennick").text
    assert "at Fennick" in report
    refused = client.get("/report/engine/E1.html?circuit=Rookmere")
    assert (refused.status_code, "Known circuits" in refused.text) == (404, True)


def test_the_page_of_a_run_says_where_it_was_and_lets_it_be_corrected(desk: Desk) -> None:
    with desk.book.register.reading() as session:
        record = runs.list_runs(session, engine_id="E2")[0]
    page = text_of(run.where_form(desk, run.read_run(desk.book, record.run_id)))
    assert "Say where it was" in page
    assert f'"value": "{HARD}"' in page  # among those that are offered
    known = {"run": record.run_id, "version": record.version}
    title, said, then = put_at(desk, known, " fennick ")
    assert title.startswith("E2 at Fennick, ")
    assert "Kept." in text_of(said)
    refused = put_at(desk, known, HARD)
    assert refused[0] == title
    assert "Since you looked at" in text_of(refused[1])
    title, *_ = put_at(desk, then, "")
    assert title.startswith("E2, ")
