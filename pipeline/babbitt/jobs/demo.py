"""The whole job on an invented team's two seasons (demo_logs/): a logbook to ask."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from babbitt.damage.looks import damaged_grades
from babbitt.exchange.importing import import_rows
from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.record_teardown import record_teardown
from babbitt.logbook.folder import Logbook, create_logbook
from babbitt.logbook.settings import zone
from babbitt.model.contracts import data_folder
from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement, SheetLine, TeardownRecord
from babbitt.register import Session
from babbitt.register.records import builds, engines, fitments, parts, work
from babbitt.register.records.runs import list_runs
from babbitt.register.records.teardowns import findings_of

TEAM = "the invented team"


def run_demo(
    folder: Path,
    *,
    track: Callable[[Iterable[Any], int], Iterable[Any]] = lambda items, _: items,
) -> tuple[Logbook, tuple[Intake, ...]]:
    """Make a logbook of the invented seasons: engines, parts, builds, logs and teardowns.

    Args:
        folder: a new or empty folder.
        track: passes the logs through, and is told their number; for a progress bar.

    Returns:
        The logbook, and what became of each log.

    Raises:
        LogbookError: the folder is in use or cannot be written.
    """
    data = data_folder("demo_logs")
    season = tomllib.loads((data / "season.toml").read_text(encoding="utf-8"))
    settings = (data / season["logbook"]).read_text(encoding="utf-8")
    book = create_logbook(folder, settings)
    with book.register.writing(TEAM) as session:
        _write_record(session, season, data)
    history = (data / season["history"]).read_text(encoding="utf-8")
    import_rows(book, history, source=season["history"], what="history", who=TEAM)
    logs = season["log"]
    intakes = tuple(
        ingest_log(book, data / log["file"], _instructions(book, log))
        for log in track(logs, len(logs))
    )
    for teardown in season["teardown"]:
        record_teardown(
            book,
            teardown["engine"],
            data / teardown["findings"],
            at=teardown["at"],
            note=teardown["note"],
            earlier_build=True,
            who=TEAM,
        )

    return book, intakes


def newest_damage(book: Logbook) -> TeardownRecord:
    """Return the newest teardown that found damage."""
    bad = damaged_grades()
    with book.register.reading() as session:
        found = [each.teardown for each in findings_of(session) if each.finding.grade in bad]
    return max(found, key=lambda teardown: teardown.at)


def seasons_end(book: Logbook) -> datetime:
    """Return when the last run of all ended, UTC."""
    with book.register.reading() as session:
        return max(run.started_at + timedelta(seconds=run.duration_s) for run in list_runs(session))


def _write_record(session: Session, season: Mapping[str, Any], data: Path) -> None:
    """Write down engines, parts and where they were, and the build sheets."""
    for engine in season["engine"]:
        spec = (data / engine["spec"]).read_text(encoding="utf-8")
        engines.add_engine(session, engine["id"], spec, built_at=engine["built_at"])
    for part in season["part"]:
        parts.add_part(session, part["id"], part["kind"], note=part["note"])
    for fitment in season["fitment"]:
        fitments.fit_part(
            session,
            fitment["part"],
            fitment["engine"],
            position=fitment.get("position"),
            at=fitment["at"],
            until=fitment.get("removed_at"),
        )
    for job in season["work"]:
        work.send_out(
            session,
            job["part"],
            shop=job["where"],
            what=job["what"],
            since=job["since"],
            due=job["due"],
            back_at=job.get("back"),
            result=job.get("result", ""),
        )
    for engine in season["engine"]:
        first = [_measurement(row) for row in engine["measurements"]]
        builds.add_to_sheet(session, engine["id"], None, measurements=first)
        for refresh in engine["refresh"]:
            builds.add_refresh(
                session,
                engine["id"],
                refresh["at"],
                refresh["note"],
                lines=[_line(row) for row in refresh["lines"]],
                measurements=[_measurement(row) for row in refresh["measurements"]],
            )


def _line(row: Mapping[str, Any]) -> SheetLine:
    return SheetLine(
        part=row["part"],
        position=row.get("position"),
        action=row["action"],
        part_id=row.get("fitted"),
    )


def _measurement(row: Mapping[str, Any]) -> BuiltMeasurement:
    measured = Measurement(
        row["name"], row["value"], row["unit"], low=row.get("low"), high=row.get("high")
    )
    return BuiltMeasurement(measured, part=row.get("part"), position=row.get("position"))


def _instructions(book: Logbook, log: Mapping[str, Any]) -> Instructions:
    return Instructions(
        engine_id=log["engine"],
        profile=book.settings.profile_named(log["profile"]) if "profile" in log else None,
        started=log.get("started"),
        zone=zone(book.settings.timezone),
        circuit=log["circuit"],
    )
