"""Refused logs as the pages tell of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from babbitt.errors import Remedy
from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import Logbook
from babbitt.present.views.logs import choose, logs_view, take_in, throw_away
from babbitt.present.views.logs_inbox import add_piece, begin, waiting_logs
from babbitt.present.views.logs_refused import (
    count_refused,
    refused_in_words,
    set_all_aside,
    set_aside,
    settling_command,
    take_up,
    why_refused,
)
from babbitt.register.records import refusals
from babbitt.register.records.refusals import Refusal
from small_logs import make_book, rows_of, text_of

MAY = datetime(2026, 5, 1, tzinfo=UTC)
TEXT = text_of("2026-05-01T10:00:00Z", rows_of()).replace("Oil Press (kPa)", "Oil Press")


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_book(tmp_path / "book")


def refuse(book: Logbook, folder: Path, name: str = "run.csv", text: str = TEXT) -> str:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    sha256 = ingest_log(book, path, Instructions(engine_id="E1")).sha256
    assert sha256 is not None
    return sha256


def send(book: Logbook, text: str = TEXT) -> str:
    data = text.encode()
    token = begin(book, "run.csv", len(data), MAY)
    add_piece(book, token, 0, [data])
    choose(book, token, {"engine": "E1"})
    return token


def left(book: Logbook) -> list[str]:
    return [each.sha256 for each in logs_view(book).refused if each.set_aside_at is None]


def test_they_are_counted_in_words() -> None:
    assert [refused_in_words(count) for count in (0, 1, 1200)] == [
        "", "1 log refused", "1,200 logs refused",
    ]  # fmt: skip


def test_the_reason_does_not_say_the_name_again() -> None:
    refusal = Refusal("a" * 64, "run.csv", "E1", "run.csv: no unit is stated.", (), MAY)
    assert why_refused(refusal) == "No unit is stated."
    held_back = replace(refusal, error="run.csv overlaps the run r1.")
    assert why_refused(held_back) == "run.csv overlaps the run r1."


def test_the_command_that_settles_one_can_be_pasted() -> None:
    psi = (Remedy("unit", "oil_pressure", "psi"),)
    refusal = Refusal("a" * 64, "my run.csv", "E1", "No unit.", psi, MAY)
    assert settling_command(refusal) == (
        'babbitt ingest "my run.csv" --engine E1 --unit oil_pressure=psi'
    )
    assert settling_command(Refusal("a" * 64, "my run.csv", "E1", "No rpm.", (), MAY)) is None


def test_what_is_set_aside_is_not_counted_and_can_be_taken_up(
    book: Logbook, tmp_path: Path
) -> None:
    one = refuse(book, tmp_path)
    two = refuse(book, tmp_path, "b.csv", TEXT.replace("10:00", "11:00"))
    assert count_refused(book) == 2
    assert count_refused(book, datetime.now(UTC) - timedelta(days=1)) == 0
    set_aside(book, one, "Ann")
    assert left(book) == [two]
    set_all_aside(book, "Ann")
    assert (left(book), count_refused(book)) == ([], 0)
    take_up(book, one, "Ann")
    assert left(book) == [one]


def test_what_waits_is_not_set_aside_with_all_the_others(book: Logbook, tmp_path: Path) -> None:
    refuse(book, tmp_path, "b.csv", TEXT.replace("10:00", "11:00"))
    waits = take_in(book, send(book)).sha256
    set_all_aside(book, "Ann")
    assert left(book) == [waits]


def test_a_log_that_waits_and_is_thrown_away_is_set_aside_with_its_refusal(book: Logbook) -> None:
    token = send(book)
    intake = take_in(book, token)
    (waiting,) = waiting_logs(book)
    assert waiting.sha256 == intake.sha256 is not None
    assert left(book) == [intake.sha256]
    throw_away(book, token, "Ann")
    assert (waiting_logs(book), left(book)) == ((), [])
    with book.register.reading() as session:
        (aside,) = refusals.list_refusals(session, include_set_aside=True)
    assert aside.set_aside_at is not None


def test_one_that_was_taken_in_from_elsewhere_is_thrown_away_all_the_same(
    book: Logbook, tmp_path: Path
) -> None:
    token = send(book)
    take_in(book, token)
    path = tmp_path / "run.csv"
    path.write_text(TEXT, encoding="utf-8")
    psi = Instructions(engine_id="E1", units={"oil_pressure": "kPa"})
    assert ingest_log(book, path, psi).status == "ingested"
    throw_away(book, token, "Ann")
    assert waiting_logs(book) == ()
