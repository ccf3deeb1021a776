"""babbitt inspect, ingest and detect: what a log holds, taking it in, searching it again."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    err,
    instant,
    open_from,
    out,
    pairs,
    print_json,
    progress,
    rejudge,
    settings_from,
)
from pipeline.errors import SettingsError
from pipeline.flow import Intake, Overlap, ingest_log, open_log
from pipeline.ingest.inspect import Inspection, inspect_log
from pipeline.ingest.source import Instructions, ReadSource
from pipeline.logbook import saying_what_failed
from pipeline.register import engines
from pipeline.settings import Settings, zone
from pipeline.show import NOTHING, Reader, duration, number, reader_of, share, short, table

MapOption = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="HEADER=CHANNEL", help="Which channel a column is; repeatable."),
]
UnitOption = Annotated[
    list[str] | None,
    typer.Option("--unit", metavar="CHANNEL=UNIT", help="The unit of a channel; repeatable."),
]
ProfileOption = Annotated[
    str | None, typer.Option(metavar="NAME", help="A logger profile of logbook.toml.")
]
StartedOption = Annotated[
    str | None, typer.Option(metavar="WHEN", help="When the log began; one log at a time.")
]

_NEW_PROFILE = "my-logger"
"""Name of a profile made ready to save."""


def inspect(
    context: typer.Context,
    log: Annotated[Path, typer.Argument(metavar="LOG", help="A CSV log.")],
    started: StartedOption = None,
    profile: ProfileOption = None,
    units: UnitOption = None,
    columns: MapOption = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Show what would be read from a log, before anything is stored; needs no logbook."""
    settings = settings_from(context, logbook)
    instructions = _instructions(settings, "", started, profile, units, columns)
    with saying_what_failed(f"cannot read {log}"), open_log(log) as data:
        modified_at = datetime.fromtimestamp(log.stat().st_mtime, UTC)
        found = inspect_log(ReadSource(log.name, data, "", modified_at), instructions)
    if as_json:
        print_json(asdict(found) | {"profile": found.profile_toml(profile or _NEW_PROFILE)})
        return
    _print_inspection(found, reader_of(settings))
    out.print("\nTo keep what you settle for this logger, put this in logbook.toml:\n")
    out.print(found.profile_toml(profile or _NEW_PROFILE))


def ingest(
    context: typer.Context,
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="CSV logs.")],
    engine: Annotated[str, typer.Option("--engine", metavar="ID", help="The engine that ran.")],
    started: StartedOption = None,
    profile: ProfileOption = None,
    units: UnitOption = None,
    columns: MapOption = None,
    overlap: Annotated[
        Overlap,
        typer.Option(help="What to do with a log that overlaps another run of the engine."),
    ] = "refuse",
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Take logs in, and search them for harmful events; a log taken in before is a duplicate."""
    book = open_from(context, logbook)
    if started and len(logs) > 1:
        raise typer.BadParameter("name one log at a time", param_hint="--started")
    instructions = _instructions(book.settings, engine, started, profile, units, columns)
    with progress("Taking in", quiet=as_json) as track:
        intakes = [
            ingest_log(book, path, instructions, overlap=overlap) for path in track(logs, len(logs))
        ]
    if as_json:
        print_json([asdict(intake) for intake in intakes])
    else:
        _print_intakes(intakes)
    if any(intake.status == "refused" for intake in intakes):
        raise typer.Exit(1)


def detect(
    context: typer.Context,
    engine: EngineFilter = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Search runs again where limits or expectations changed; reviews stay."""
    book = open_from(context, logbook)
    if engine is None:
        with book.register.reading() as session:
            names = [record.engine_id for record in engines.list_engines(session)]
    else:
        names = [engine]
    results = {name: rejudge(book, name, quiet=as_json) for name in names}
    if as_json:
        print_json(
            [
                {"engine_id": name, "runs": judged.judged, "failures": judged.failures}
                for name, judged in results.items()
            ]
        )
    elif not any(judged.judged or judged.failures for judged in results.values()):
        out.print("Every run is judged by the limits of today.")
    if any(judged.failures for judged in results.values()):
        raise typer.Exit(1)


def _instructions(
    settings: Settings,
    engine_id: str,
    started: str | None,
    profile: str | None,
    units: list[str] | None,
    columns: list[str] | None,
) -> Instructions:
    made = Instructions(
        engine_id=engine_id,
        profile=settings.profile_named(profile) if profile else None,
        columns=pairs(columns, "--map"),
        units=pairs(units, "--unit"),
        started=instant(started, "--started", None) if started else None,
        zone=zone(settings.timezone),
    )
    try:
        made.check()
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error
    return made


def _print_intakes(intakes: list[Intake]) -> None:
    listing = table("", "log", "status", "run", "lasted", "samples", "channels", left=3)
    for intake in intakes:
        listing.add_row(
            intake.file,
            intake.status,
            short(intake.run_id or NOTHING),
            duration(intake.duration_s),
            NOTHING if intake.rows is None else f"{intake.rows:,}",
            str(len(intake.channels)) if intake.run_id else NOTHING,
        )
    out.print(listing)
    for intake in intakes:
        for warning in intake.warnings:
            out.print(f"{Path(intake.file).name}: {warning}")
    for intake in intakes:
        if intake.error:
            err.print(f"Refused: {intake.error}")
    counts = Counter(intake.status for intake in intakes)
    out.print(", ".join(f"{count} {status}" for status, count in counts.items()) + ".")


def _print_inspection(found: Inspection, reader: Reader) -> None:
    start = f"began {reader.instant(found.started_at)}" if found.started_at else "start unknown"
    lasted = f", lasted {duration(found.duration_s)}" if found.duration_s is not None else ""
    out.print(f"{found.source_name}: {found.rows:,} rows, {start}{lasted}.")
    for line in found.dialect:
        out.print(f"- {line}")
    listing = table(
        "",
        "header",
        "channel",
        "unit",
        "known by",
        "rate",
        "lowest",
        "highest",
        "missing",
        "remark",
        left=4,
    )
    listing.columns[-1].justify = "left"
    for column in found.columns:
        listing.add_row(
            column.header,
            column.name,
            column.unit or "?",
            column.unit_basis or NOTHING,
            NOTHING if column.rate_hz is None else f"{number(column.rate_hz)} Hz",
            NOTHING if column.low is None else number(column.low),
            NOTHING if column.high is None else number(column.high),
            share(column.share_missing) if column.share_missing else NOTHING,
            column.remark,
        )
    out.print(listing)
    for warning in found.warnings:
        out.print(f"- {warning}")
    if found.problems:
        out.print("It would be refused:")
        for problem in found.problems:
            out.print(f"- {problem}")
    else:
        out.print("It would be taken in.")
