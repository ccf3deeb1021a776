"""The report of a run tells what its page tells."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.logbook.folder import Logbook
from babbitt.present.reports.run import run_report
from babbitt.present.views.run import read_run
from babbitt.present.views.run_traces import open_run
from babbitt.present.views.shelf import RunShelf
from babbitt.present.words import Reader
from babbitt.register.records import corrections, events
from run_book import AT, FIRST, make_run_book

READER = Reader("metric", UTC)
NOW = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    return make_run_book(tmp_path_factory.mktemp("report") / "book")


def test_it_tells_the_finding_the_quality_and_every_event(book: Logbook) -> None:
    view = read_run(book, FIRST)
    with book.register.writing("Ann") as session:
        events.add_review(session, view.events[0].event_id, "harmless", "coasting <down>")
    view = read_run(book, FIRST)
    text = run_report(view, open_run(RunShelf(book), view), READER, at=NOW)
    assert "<h1>E1, 2 May 2026 10:00</h1>" in text
    assert "1 event set aside by review." in text.replace("\xa0", " ")
    assert "single-sample spike" in text
    assert "coasting &lt;down&gt;" in text
    assert text.count('<figure class="drawn">') == 1


def test_the_event_that_was_looked_at_is_shown_on_its_own(book: Logbook) -> None:
    view = read_run(book, FIRST)
    run = open_run(RunShelf(book), view)
    event = view.events[1].event_id
    text = run_report(view, run, READER, at=NOW, chosen=event, start_s=38.0, end_s=44.0)
    assert "From 0:38.0 to 0:44.0" in text
    assert "345" in text
    assert text.count('<figure class="drawn">') == 2


def test_unlogged_running_has_no_traces(tmp_path: Path) -> None:
    book = make_run_book(tmp_path / "book")
    with book.register.writing("Ann") as session:
        record = corrections.add_unlogged(session, "E1", minutes=10, at=AT.replace(month=5, day=9))
    text = run_report(read_run(book, record.run_id), None, READER, at=NOW)
    assert "without a logger" in text
    assert "<figure" not in text
