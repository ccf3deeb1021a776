"""A run that was misread is read again: files and register change together, reviews stay."""

from __future__ import annotations

import errno
from pathlib import Path

import numpy as np
import pytest

from babbitt.errors import LogbookError, RegisterError, SettingsError
from babbitt.ingest.correct import Correction
from babbitt.ingest.source import Instructions
from babbitt.jobs import move_runs as moves
from babbitt.jobs.ingest import ingest_log, judge_engine
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.event import CERTAIN, Reason, confidence_of
from babbitt.model.records import RunRecord
from babbitt.present.remedies import remarks_of
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.records import builds, engines, events, runs
from invented import SPEC

FOR_E1 = Instructions(engine_id="E1")
IN_BAR = Correction(units={"oil_pressure": "bar"})


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    book = create_logbook(tmp_path / "book", settings_text())
    with book.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
        engines.add_engine(session, "E2", SPEC)
    return book


def write_log(
    folder: Path, day: int, *, factor: float = 1.0, unit: str = "kPa", peak_rpm: float = 7000.0
) -> Path:
    """Write six minutes of straight running up and down the speed range, with a dip late on."""
    seconds = np.arange(0.0, 360.0, 0.1)
    rpm = 4500.0 + (peak_rpm - 4500.0) * np.sin(2 * np.pi * seconds / 100.0)
    oil_c = 80.0 + 30.0 * seconds / 360.0
    pressure = 120.0 + 0.07 * rpm - (oil_c - 80.0) + np.random.default_rng(day).normal(0, 1, 3600)
    pressure = np.where((seconds > 220.0) & (seconds < 223.0), 0.3 * pressure, pressure) * factor
    lines = [f"Start,2026-05-{day:02d}T10:00:00Z"]
    lines += [f"Time (s),RPM (1/min),Oil Press ({unit}),Oil Temp (°C),Lat G (g)"]
    lines += [
        f"{t:.1f},{n:.0f},{p:.4f},{c:.2f},{0.01 * (i % 7):.2f}"
        for i, (t, n, p, c) in enumerate(zip(seconds, rpm, pressure, oil_c, strict=True))
    ]
    path = folder / f"day{day}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def misread(book: Logbook, tmp_path: Path) -> str:
    """The id of a run in bar that was stated as psi, after three sound ones."""
    for day in (1, 2, 3):
        assert ingest_log(book, write_log(tmp_path, day), FOR_E1).status == "ingested"
    taken = ingest_log(book, write_log(tmp_path, 4, factor=0.01, unit="psi"), FOR_E1)
    return str(taken.run_id)


def found(book: Logbook, run_id: str) -> RunRecord:
    with book.register.reading() as session:
        return runs.find_run(session, run_id)


def events_of(book: Logbook, run_id: str) -> list[tuple[str, str, str | None]]:
    with book.register.reading() as session:
        listed = events.list_events(session, run_id=run_id)
    return [(each.event.kind, each.event.confidence, each.event.review) for each in listed]


def reread(book: Logbook, run_id: str, correction: Correction, **options: bool) -> RunRecord:
    moves.reread_run(book, run_id, correction, reason="", who="Ann", **options)
    judge_engine(book, "E1")
    return found(book, run_id)


def undo(book: Logbook) -> None:
    moves.undo(book, reason="", who="Ann")
    judge_engine(book, "E1")


def test_a_misread_run_is_told_and_its_events_are_doubtful(book: Logbook, misread: str) -> None:
    record = found(book, misread)
    (doubt,) = record.doubts
    assert (doubt.sort, doubt.channels) == ("unit", ("oil_pressure",))
    assert remarks_of(record)[-1] == (
        "Oil pressure reads 14.5 times less than in 3 earlier runs at the same engine speeds; "
        "taken as bar instead of psi it would fit: "
        f"`babbitt run reread {misread} --unit oil_pressure=bar`."
    )
    assert {confidence for _, confidence, _ in events_of(book, misread)} == {
        confidence_of([Reason("unit", ("oil_pressure",))])
    }


def test_reading_it_again_mends_file_events_and_doubts(book: Logbook, misread: str) -> None:
    record = reread(book, misread, IN_BAR)
    assert record.doubts == ()
    assert record.conversions[0] == "Oil pressure: bar to kPa (unit as stated)."
    assert events_of(book, misread) == [("low_oil_pressure", CERTAIN, None)]
    pressure = book.read_run("E1", misread).signals["oil_pressure"].values
    assert np.median(pressure) == pytest.approx(420.0, abs=30.0)
    assert verify(book).faults == ()


def test_what_it_was_comes_back_with_undo_and_goes_with_redo(book: Logbook, misread: str) -> None:
    before, was = found(book, misread), events_of(book, misread)
    after = reread(book, misread, IN_BAR)
    undo(book)
    undone = found(book, misread)
    assert undone.read_as == before.read_as
    assert undone.warnings == before.warnings
    assert undone.conversions == before.conversions
    assert events_of(book, misread) == was
    assert verify(book).faults == ()
    moves.redo(book, reason="", who="Ann")
    judge_engine(book, "E1")
    assert found(book, misread).conversions == after.conversions
    assert events_of(book, misread) == [("low_oil_pressure", CERTAIN, None)]
    with book.register.reading() as session:
        told = [sentence(entry) for entry in journal(session, limit=3)]
    assert told[2] == f"read the log of the run {misread} of E1 again (oil_pressure in bar)"
    assert told[1].endswith(f"read the log of the run {misread} of E1 again (as the log says)")


def test_reviews_stay(book: Logbook, tmp_path: Path) -> None:
    taken = ingest_log(book, write_log(tmp_path, 1, peak_rpm=7900.0), FOR_E1)
    run_id = str(taken.run_id)
    with book.register.reading() as session:
        first = next(
            each.event
            for each in events.list_events(session, run_id=run_id)
            if each.event.kind == "over_rev"
        )
    with book.register.writing("Ann") as session:
        events.add_review(session, first.event_id, "confirmed")
    reread(book, run_id, Correction(left_out=("oil_pressure",)))
    kept = events_of(book, run_id)
    assert next(review for kind, _, review in kept if kind == "over_rev") == "confirmed"
    assert all(kind == "over_rev" for kind, _, _ in kept)
    assert "oil_pressure_as_logged" in book.read_run("E1", run_id).signals


def test_corrections_add_up_and_are_kept(book: Logbook, misread: str) -> None:
    reread(book, misread, IN_BAR)
    record = reread(book, misread, Correction(lateral_positive="right"))
    assert any("bar to kPa" in done for done in record.conversions)
    assert any("sign turned" in done for done in record.conversions)
    assert record.read_as is not None
    assert record.read_as["units"] == {"oil_pressure": "bar"}


def test_another_start_is_held_against_the_other_runs(book: Logbook, misread: str) -> None:
    at = found(book, misread).started_at
    on_the_third = Correction(started=at.replace(day=3, minute=2))
    with pytest.raises(RegisterError, match="overlaps"):
        moves.reread_run(book, misread, on_the_third, reason="", who="Ann")
    assert found(book, misread).started_at == at
    record = reread(book, misread, on_the_third, keep_both=True)
    assert record.started_at == at.replace(day=3, minute=2)
    assert record.start_basis == "stated"
    assert book.read_run("E1", misread).info.started_at == record.started_at
    undo(book)
    assert found(book, misread).started_at == at
    assert found(book, misread).start_basis == "log"


def test_a_run_that_was_given_to_another_engine_is_read_again_for_that(
    book: Logbook, misread: str
) -> None:
    reread(book, misread, IN_BAR)
    moves.assign_run(book, misread, "E2", reason="", who="Ann")
    record = reread(book, misread, Correction(lateral_positive="right"))
    assert record.engine_id == "E2"
    assert book.read_run("E2", misread).info.engine_id == "E2"
    assert not (book.root / book.run_name("E1", misread)).exists()
    judge_engine(book, "E2")
    assert verify(book).faults == ()


@pytest.mark.parametrize(
    ("correction", "said"),
    [
        (Correction(units={"oil_presure": "bar"}), "oil_pressure"),
        (Correction(swaps=(("oil_pressure", "boost"),)), "no boost to exchange"),
        (Correction(zeros=("oil_pressure",)), "does not show oil_pressure with the engine at rest"),
        (Correction(left_out=("rpm",)), "cannot be left out"),
        (Correction(zeros=("boots",)), "did you mean 'boost'"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(
    book: Logbook, misread: str, correction: Correction, said: str
) -> None:
    before = found(book, misread)
    with pytest.raises(SettingsError, match=said):
        moves.reread_run(book, misread, correction, reason="", who="Ann")
    assert found(book, misread) == before


@pytest.mark.parametrize("place", ["write", "commit"])
def test_a_full_disk_leaves_the_run_as_it_was(
    book: Logbook, misread: str, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, path = found(book, misread), (book.root / book.run_name("E1", misread))
    bytes_before = path.read_bytes()

    def full(*_args: object, **_named: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        target = {
            "write": "babbitt.logbook.file_store.place_file",
            "commit": "sqlalchemy.engine.default.DefaultDialect.do_commit",
        }[place]
        broken.setattr(target, full)
        with pytest.raises(LogbookError, match="the disk is full"):
            moves.reread_run(book, misread, IN_BAR, reason="", who="Ann")
    assert path.read_bytes() == bytes_before
    assert found(book, misread) == before
    assert verify(book).faults == ()


def test_a_misread_run_teaches_nothing(book: Logbook, tmp_path: Path) -> None:
    """Its pressures do not become what is expected, though it is the build's first run."""
    ingest_log(book, write_log(tmp_path, 1, factor=0.01, unit="psi"), FOR_E1)
    later = ingest_log(book, write_log(tmp_path, 2), FOR_E1)
    with book.register.reading() as session:
        (build,) = builds.builds_of(session, "E1")
        surface = builds.surface_of(session, build)
    assert surface is not None
    assert str(later.run_id) in surface.text
    assert [kind for kind, _, _ in events_of(book, str(later.run_id))] == ["low_oil_pressure"]


def test_doubts_do_not_depend_on_the_order_of_arrival(book: Logbook, tmp_path: Path) -> None:
    logs = [write_log(tmp_path, day) for day in (1, 2, 3)]
    logs.insert(2, write_log(tmp_path, 4, factor=0.01, unit="psi"))
    other = create_logbook(tmp_path / "other", settings_text())
    with other.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    for log in logs:
        ingest_log(book, log, FOR_E1)
    for log in reversed(logs):
        ingest_log(other, log, FOR_E1)
    with book.register.reading() as session, other.register.reading() as theirs:
        ours = [(r.run_id, r.warnings) for r in runs.list_runs(session)]
        assert ours == [(r.run_id, r.warnings) for r in runs.list_runs(theirs)]


def test_a_run_that_is_trusted_is_doubted_no_more(book: Logbook, misread: str) -> None:
    from babbitt.register.records import sensors

    with book.register.writing("Ann") as session:
        sensors.trust_run(session, misread, "new sensor")
    judge_engine(book, "E1")
    assert found(book, misread).doubts == ()
    assert {confidence for _, confidence, _ in events_of(book, misread)} == {CERTAIN}
    undo(book)
    assert len(found(book, misread).doubts) == 1
