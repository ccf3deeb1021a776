"""Where a log was recorded, from the log and from who takes it in, to the register."""

from __future__ import annotations

from pathlib import Path

import pytest

from babbitt.ingest.correct import Correction
from babbitt.ingest.source import Instructions
from babbitt.jobs import move_runs as moves
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.logbook.folder import Logbook
from babbitt.register.records import corrections, runs
from small_logs import make_book, rows_of, text_of


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_book(tmp_path / "book")


def take(book: Logbook, *, note: str = "", stated: str | None = None, hour: int = 10) -> Intake:
    log = book.root.parent / f"run{hour}.csv"
    text = text_of(f"2026-05-01T{hour}:00:00Z", rows_of())
    log.write_text(f"Track,{note}\n{text}" if note else text, encoding="utf-8")
    intake = ingest_log(book, log, Instructions("E1", circuit=stated))
    assert intake.status != "refused", intake.error
    return intake


def where(book: Logbook, intake: Intake) -> str | None:
    assert intake.run_id is not None
    with book.register.reading() as session:
        return runs.find_run(session, intake.run_id).circuit


def test_what_the_log_says_is_kept(book: Logbook) -> None:
    intake = take(book, note="Tollbar Bowl")
    assert where(book, intake) == "Tollbar Bowl"
    assert where(book, take(book, hour=12)) is None


def test_what_is_stated_wins_and_a_contradiction_is_said_but_is_no_fault_of_the_run(
    book: Logbook,
) -> None:
    intake = take(book, note="Tollbar Bowl", stated="Fennick")
    assert where(book, intake) == "Fennick"
    said = "The log names the circuit Tollbar Bowl in line 1; Fennick was stated, and counts."
    assert said in intake.warnings
    with book.register.reading() as session:
        kept = runs.find_run(session, str(intake.run_id)).warnings
    assert said not in kept
    assert set(kept) < set(intake.warnings)
    assert said not in take(book, note="TOLLBAR bowl", stated="Tollbar Bowl", hour=12).warnings


def test_neither_the_id_nor_the_file_of_a_run_depends_on_it(tmp_path: Path) -> None:
    here, there = make_book(tmp_path / "a" / "book"), make_book(tmp_path / "b" / "book")
    assert take(here, stated="Tollbar").run_id == take(there).run_id
    files = [next(book.root.rglob("*.parquet")) for book in (here, there)]
    assert files[0].read_bytes() == files[1].read_bytes()


def test_the_same_log_stated_to_be_elsewhere_is_told_how_to_correct_it(book: Logbook) -> None:
    first = take(book, stated="Tollbar")
    again = take(book, stated="Fennick")
    assert again.status == "duplicate"
    assert where(book, first) == "Tollbar"
    (said,) = again.warnings
    assert f'`babbitt run correct {first.run_id} --circuit "Fennick"`' in said
    assert take(book, stated="tollbar").warnings == ()


def test_reading_a_log_again_leaves_a_corrected_circuit_alone(book: Logbook) -> None:
    run_id = str(take(book, note="Tollbar").run_id)
    with book.register.writing("Ann") as session:
        corrections.amend_run(session, run_id, circuit="Fennick")
    units = Correction(units={"oil_pressure": "bar"})
    moves.reread_run(book, run_id, units, reason="", who="Ann")
    moves.undo(book, reason="", who="Ann")
    with book.register.reading() as session:
        assert runs.find_run(session, run_id).circuit == "Fennick"
