"""The list of runs: what fits a filter, page by page, and in which words."""

from __future__ import annotations

import shutil
from datetime import UTC, date
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.present.views import runs
from babbitt.present.views.runs import harm_words, quality_word, read_runs, review_word
from babbitt.present.words import Reader
from babbitt.register.records import corrections, events
from run_book import FIRST, SECOND, make_run_book

READER = Reader("metric", UTC)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook to copy."""
    return make_run_book(tmp_path_factory.mktemp("runs") / "book").root


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Logbook:
    return open_logbook(shutil.copytree(made, tmp_path / "book"))


def test_runs_are_listed_newest_first_with_their_harm(book: Logbook) -> None:
    view = read_runs(book, UTC)
    assert [line.run_id for line in view.lines] == [SECOND, FIRST]
    assert (view.found, view.page, view.pages, view.engines) == (2, 1, 1, ("E1",))
    line = view.lines[0]
    assert harm_words(line, READER) == "over-rev, up to 7,900 rpm; oil starvation, down to 100 kPa"
    assert (quality_word(line), review_word(line)) == ("1 remark", "2 to review")


def test_days_are_meant_in_the_readers_zone_and_both_count(book: Logbook) -> None:
    first, second = date(2026, 5, 2), date(2026, 5, 3)
    assert read_runs(book, UTC, first_day=second).found == 1
    assert read_runs(book, UTC, last_day=first).found == 1
    assert read_runs(book, UTC, first_day=first, last_day=second).found == 2
    assert read_runs(book, UTC, first_day=date(2026, 5, 4)).lines == ()


def test_events_set_aside_leave_the_list_of_harm(book: Logbook) -> None:
    found = read_runs(book, UTC).lines[1]
    with book.register.writing("Ann") as session:
        for dated in events.list_events(session, run_id=FIRST):
            events.add_review(session, dated.event.event_id, "harmless")
    assert [each.run_id for each in read_runs(book, UTC, only="harm").lines] == [SECOND]
    assert [each.run_id for each in read_runs(book, UTC, only="to_review").lines] == [SECOND]
    line = read_runs(book, UTC).lines[1]
    assert found.run_id == line.run_id == FIRST
    assert (harm_words(line, READER), review_word(line)) == ("–", "reviewed")


def test_unlogged_and_removed_runs(book: Logbook) -> None:
    with book.register.writing("Ann") as session:
        at = events.list_events(session)[0].run_started_at.replace(month=7)
        corrections.add_unlogged(session, "E1", minutes=10, at=at)
        corrections.remove_run(session, SECOND)
    newest, *others = read_runs(book, UTC).lines
    assert harm_words(newest, READER) == "not logged"
    assert (quality_word(newest), review_word(newest)) == ("–", "")
    assert [line.run_id for line in others] == [FIRST]


def test_a_page_beyond_the_last_gives_the_last(book: Logbook, monkeypatch) -> None:
    monkeypatch.setattr(runs, "A_PAGE", 1)
    view = read_runs(book, UTC, page=99)
    assert (view.page, view.pages, [line.run_id for line in view.lines]) == (2, 2, [FIRST])


def test_an_unknown_engine_is_told_in_a_sentence(book: Logbook) -> None:
    with pytest.raises(RegisterError, match="no engine 'E2'"):
        read_runs(book, UTC, engine_id="E2")


def test_an_empty_logbook_has_an_empty_page(tmp_path: Path) -> None:
    view = read_runs(create_logbook(tmp_path / "empty", settings_text()), UTC)
    assert (view.lines, view.found, view.pages, view.engines) == ((), 0, 1, ())
