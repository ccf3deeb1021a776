"""What is remembered of a log that was refused, and what is not."""

from __future__ import annotations

import errno
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.errors import LogbookError, Remedy
from babbitt.ingest.source import Instructions
from babbitt.jobs import ingest as flow
from babbitt.jobs.backlog import in_order, take_in
from babbitt.jobs.ingest import incoming_folder, ingest_log
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook
from babbitt.register.records import engines, refusals
from babbitt.register.records.refusals import Refusal
from babbitt.register.tables.store import Register
from small_logs import make_book, rows_of, text_of, write_log

FOR_E1 = Instructions(engine_id="E1")
PSI = replace(FOR_E1, units={"oil_pressure": "psi"})


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_book(tmp_path / "book")


@pytest.fixture
def no_unit(tmp_path: Path) -> Path:
    """A log that does not say in which unit its oil pressure is."""
    path = tmp_path / "no unit.csv"
    text = text_of("2026-05-01T10:00:00Z", rows_of())
    path.write_text(text.replace("Oil Press (kPa)", "Oil Press"), encoding="utf-8")
    return path


def refused_in(book: Logbook) -> tuple[Refusal, ...]:
    with book.register.reading() as session:
        return refusals.list_refusals(session)


def test_a_log_that_cannot_be_read_is_remembered_until_it_is_taken_in(
    book: Logbook, no_unit: Path
) -> None:
    intake = ingest_log(book, no_unit, FOR_E1)
    (kept,) = refused_in(book)
    assert (kept.sha256, kept.error, kept.remedies) == (
        intake.sha256,
        intake.error,
        intake.remedies,
    )
    assert (kept.file, kept.engine_id) == ("no unit.csv", "E1")
    assert Remedy("unit", "oil_pressure", "kPa") in kept.remedies
    assert verify(book).faults == ()
    assert ingest_log(book, no_unit, PSI).status == "ingested"
    assert refused_in(book) == ()
    assert ingest_log(book, no_unit, FOR_E1).status == "duplicate"
    assert refused_in(book) == ()


def test_one_that_overlaps_or_is_older_than_its_engine_is_remembered_too(
    book: Logbook, tmp_path: Path
) -> None:
    ingest_log(book, write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z"), FOR_E1)
    ingest_log(book, write_log(tmp_path / "b.csv", "2026-05-01T10:00:05Z"), FOR_E1)
    (overlap,) = refused_in(book)
    assert (overlap.file, [each.value for each in overlap.remedies]) == (
        "b.csv",
        ["replace", "keep-both"],
    )
    ingest_log(book, tmp_path / "b.csv", FOR_E1, overlap="replace")
    assert refused_in(book) == ()
    with book.register.writing() as session:
        engines.set_built(session, "E1", datetime(2026, 4, 1, tzinfo=UTC))
    ingest_log(book, write_log(tmp_path / "c.csv", "2026-03-01T10:00:00Z"), FOR_E1)
    (early,) = refused_in(book)
    assert (early.file, early.remedies) == ("c.csv", ())


def test_a_name_given_is_the_one_that_is_remembered(book: Logbook, no_unit: Path) -> None:
    ingest_log(book, no_unit, FOR_E1, name="run.csv")
    assert [each.file for each in refused_in(book)] == ["run.csv"]


def test_what_is_not_the_logs_own_fault_is_not_remembered(
    book: Logbook, no_unit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")
    empty = tmp_path / "empty.csv"
    empty.touch()
    bar = replace(FOR_E1, units={"oil_pressure": "furlong"})
    refused = [
        ingest_log(book, tmp_path / "none.csv", FOR_E1),
        ingest_log(book, tmp_path, FOR_E1),
        ingest_log(book, empty, FOR_E1),
        ingest_log(book, no_unit, Instructions(engine_id="E9")),
        ingest_log(book, whole, bar),
    ]

    def full(*_args: object, **_named: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def grows(*_args: object, **_named: object) -> None:
        with whole.open("a", encoding="utf-8") as file:
            file.write("20.0,4000,400,90\n")

    for place, fault in (
        ("babbitt.jobs.read_log.RunWriter.finish", full),
        ("babbitt.register.records.runs.record_run", full),
        ("babbitt.jobs.ingest.write_original", grows),
    ):
        with monkeypatch.context() as broken:
            broken.setattr(place, fault)
            refused.append(ingest_log(book, whole, FOR_E1))
    assert [(each.status, each.sha256) for each in refused] == [("refused", None)] * 8
    assert "still being written" in str(refused[-1].error)
    assert refused_in(book) == ()


def test_a_log_that_several_workers_read_is_remembered_by_the_one_that_records(
    book: Logbook, no_unit: Path, tmp_path: Path
) -> None:
    logs = [write_log(tmp_path / f"{h}.csv", f"2026-05-01T{h}:00:00Z") for h in (11, 12)]
    with incoming_folder(book) as folder, ThreadPoolExecutor(2) as threads:
        taken = take_in(book, [no_unit, *logs], FOR_E1, folder, apply=in_order(threads, 4))
        assert [each.status for each in taken] == ["refused", "ingested", "ingested"]
    assert [each.file for each in refused_in(book)] == ["no unit.csv"]


def test_it_is_written_down_when_the_logs_own_files_are_gone(
    book: Logbook, no_unit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever is killed here leaves no file that would be in no record."""
    ingest_log(book, write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z"), FOR_E1)
    overlaps = write_log(tmp_path / "b.csv", "2026-05-01T10:00:05Z")
    before = files_of(book)
    seen: list[set[Path]] = []
    monkeypatch.setattr(
        "babbitt.register.records.refusals.note_refusal", lambda *_: seen.append(files_of(book))
    )
    for log in (no_unit, overlaps):
        assert ingest_log(book, log, FOR_E1).status == "refused"
    assert seen == [before, before]


def files_of(book: Logbook) -> set[Path]:
    parts: Iterable[Path] = (book.root / "runs", book.root / "originals")
    kept = {path for part in parts for path in part.rglob("*") if path.is_file()}
    return kept | {
        path for aside in book.root.glob(f"{flow.INCOMING}*") for path in aside.rglob("*")
    }


def test_a_refusal_that_cannot_be_written_down_is_told_all_the_same(
    book: Logbook, no_unit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def locked(*_args: object, **_named: object) -> None:
        raise LogbookError("The register is locked.")

    monkeypatch.setattr(Register, "writing", locked)
    intake = ingest_log(book, no_unit, FOR_E1)
    assert (intake.status, intake.sha256) == ("refused", None)
    assert Remedy("unit", "oil_pressure", "kPa") in intake.remedies
    assert intake.warnings == ("The register is locked.",)
