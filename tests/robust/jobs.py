"""The jobs that the crash harness cuts off: what each works on, and what it does.

A job looks first whether it was done, as a person would before repeating a command.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from PIL import Image
from sqlalchemy import create_engine, text

from babbitt.ingest.source import Instructions
from babbitt.jobs.back_up import back_up
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.move_runs import assign_run
from babbitt.jobs.record_teardown import record_teardown
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.register.migrations.upgrade import upgrade
from babbitt.register.records import (
    builds,
    engines,
    events,
    fitments,
    parts,
    refusals,
    runs,
    teardowns,
)
from babbitt.register.tables.store import sqlite_url
from invented import SPEC
from shop import write_minute

BUILT = datetime(2026, 1, 1, tzinfo=UTC)
TAKEN_APART = datetime(2026, 6, 1, tzinfo=UTC)
WHO = "a mechanic"

Words = tuple[object, ...]
"""A command, without the program's name and the logbook's."""


@dataclass(frozen=True)
class Job:
    """A job to be cut off.

    Attributes:
        name: of the job.
        prepare: makes the folder that it works in.
        work: does it, or what of it is not done yet.
        typed: the commands that a person types for it in that folder.
        status: what the last of them exits with where nothing fails.
    """

    name: str
    prepare: Callable[[Path], None]
    work: Callable[[Path], None]
    typed: Callable[[Path], list[Words]]
    status: int = 0


def _book(folder: Path) -> Logbook:
    return open_logbook(folder / "book")


def _new_shop(folder: Path) -> None:
    """Make a logbook of two engines, with logs beside it that are not in it yet."""
    book = create_logbook(folder / "book", settings_text())
    with book.register.writing(WHO) as session:
        for engine_id in ("E1", "E2"):
            engines.add_engine(session, engine_id, SPEC, built_at=BUILT)
    book.register.close()
    for day in (1, 2, 3):
        write_minute(folder / f"{day}.csv", start=f"2026-05-0{day}T10:00:00Z", peak_rpm=8000.0)


def _ingest(folder: Path) -> None:
    book = _book(folder)
    for path in sorted(folder.glob("*.csv")):
        intake = ingest_log(book, path, Instructions(engine_id="E1"))
        if intake.status == "refused":
            raise AssertionError(intake.error)
    # what was in when an earlier attempt was cut off is searched by the next one
    judge_engine(book, "E1")
    book.register.close()


def _ingest_typed(folder: Path) -> list[Words]:
    return [("ingest", *sorted(folder.glob("*.csv")), "--engine", "E1")]


def _bad_logs_beside(folder: Path) -> None:
    _new_shop(folder)
    for name in ("1.csv", "2.csv"):
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_text(text.replace("(kPa)", "(furlongs)"), encoding="utf-8")


def _refuse(folder: Path) -> None:
    """Take in what can be, and give up one of the logs that are refused."""
    book = _book(folder)
    for path in sorted(folder.glob("*.csv")):
        ingest_log(book, path, Instructions(engine_id="E1"))
    with book.register.writing(WHO) as session:
        for each in refusals.list_refusals(session):
            if each.file == "1.csv":
                refusals.set_aside(session, each.sha256)
    judge_engine(book, "E1")
    book.register.close()


def _full_shop(folder: Path) -> None:
    _new_shop(folder)
    _ingest(folder)


def _limits_beside(folder: Path) -> None:
    _full_shop(folder)
    lower = SPEC.replace("redline_rpm = 7600", "redline_rpm = 7400")
    (folder / "lower.toml").write_text(lower, encoding="utf-8")


def _detect(folder: Path) -> None:
    book = _book(folder)
    with book.register.reading() as session:
        redline = engines.spec_of(session, "E1").over_rev.redline_rpm
    if redline != 7400:
        with book.register.writing(WHO) as session:
            lower = (folder / "lower.toml").read_text(encoding="utf-8")
            engines.set_spec(session, "E1", lower)
    judge_engine(book, "E1")
    book.register.close()


def _detect_typed(folder: Path) -> list[Words]:
    return [("engine", "spec", "E1", "--spec", folder / "lower.toml")]


def _correct(folder: Path) -> None:
    book = _book(folder)
    with book.register.reading() as session:
        found = events.list_events(session)
        last = runs.list_runs(session)[-1]
    for each in found:
        if each.event.review is None:
            with book.register.writing(WHO) as session:
                events.add_review(session, each.event.event_id, "confirmed", "seen")
    if last.engine_id == "E1":
        assign_run(book, last.run_id, "E2", reason="the other car", who=WHO)
    for engine_id in ("E1", "E2"):
        judge_engine(book, engine_id)
    book.register.close()


def _correct_typed(folder: Path) -> list[Words]:
    book = _book(folder)
    with book.register.reading() as session:
        found = [each.event.event_id for each in events.list_events(session)]
        last = runs.list_runs(session)[-1].run_id
    book.register.close()
    reviews: list[Words] = [("review", name, "confirmed", "--note", "seen") for name in found]
    return [*reviews, ("run", "assign", last, "--engine", "E2", "--note", "the other car")]


def _findings_beside(folder: Path) -> None:
    _full_shop(folder)
    Image.effect_noise((640, 480), 40).save(folder / "shell.jpg")
    (folder / "found.toml").write_text(
        '[[finding]]\npart = "rod_bearing"\nposition = "2"\ndamage_mode = "wiped"\ngrade = 3\n'
        'disposition = "replace"\nphotos = ["shell.jpg"]\n',
        encoding="utf-8",
    )


def _record(folder: Path) -> None:
    book = _book(folder)
    with book.register.reading() as session:
        apart = bool(teardowns.teardowns_of(session, "E1"))
        refreshed = bool(builds.refreshes_of(session, "E1"))
        known = bool(parts.list_parts(session))
        fitted = bool(fitments.list_fitments(session))
    if not apart:
        record_teardown(book, "E1", folder / "found.toml", at=TAKEN_APART, who=WHO)
    if not refreshed:
        with book.register.writing(WHO) as session:
            builds.add_refresh(session, "E1", TAKEN_APART, "new bearings")
    if not known:
        with book.register.writing(WHO) as session:
            parts.add_part(session, "CR-1", "crankshaft")
    if not fitted:
        with book.register.writing(WHO) as session:
            fitments.fit_part(session, "CR-1", "E1", at=TAKEN_APART)
    book.register.close()


def _record_typed(folder: Path) -> list[Words]:
    at = ("--at", TAKEN_APART.isoformat())
    return [
        ("teardown", "record", "E1", *at, "--findings", folder / "found.toml"),
        ("engine", "refresh", "E1", *at, "--note", "new bearings"),
        ("part", "add", "CR-1", "--kind", "crankshaft"),
        ("part", "fit", "CR-1", "--engine", "E1", *at),
    ]


def _back_up(folder: Path) -> None:
    if not (folder / "kept.tar").exists():
        book = _book(folder)
        back_up(book, folder / "kept.tar")
        book.register.close()


def _back_up_typed(folder: Path) -> list[Words]:
    return [("backup", folder / "kept.tar")]


def _old_shop(folder: Path) -> None:
    """Make a logbook whose register is of the first revision."""
    _new_shop(folder)
    path = folder / "book" / "register.sqlite"
    for each in path.parent.glob("register.sqlite*"):
        each.unlink()
    old = create_engine(sqlite_url(path))
    with old.begin() as connection:
        upgrade(connection, "0001")
        for engine_id in ("E1", "E2"):
            names = {"engine_id": engine_id, "at": "2026-01-01 00:00:00.000000", "toml": SPEC}
            connection.execute(
                text(
                    "INSERT INTO engine (engine_id, created_at, built_at) "
                    "VALUES (:engine_id, :at, :at)"
                ),
                names,
            )
            connection.execute(
                text(
                    "INSERT INTO engine_spec (engine_id, toml, since) "
                    "VALUES (:engine_id, :toml, :at)"
                ),
                names,
            )
    old.dispose()


def _migrate(folder: Path) -> None:
    _book(folder).register.close()


def _migrate_typed(_folder: Path) -> list[Words]:
    return [("totals",)]


JOBS = {
    job.name: job
    for job in (
        Job("ingest", _new_shop, _ingest, _ingest_typed),
        Job("refuse", _bad_logs_beside, _refuse, _ingest_typed, status=1),
        Job("detect", _limits_beside, _detect, _detect_typed),
        Job("correct", _full_shop, _correct, _correct_typed),
        Job("record", _findings_beside, _record, _record_typed),
        Job("back up", _full_shop, _back_up, _back_up_typed),
        Job("migrate", _old_shop, _migrate, _migrate_typed),
    )
}
