"""babbitt run: list runs, and put right what the logs got wrong."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

import typer

from pipeline import moves
from pipeline.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    NoteOption,
    open_from,
    out,
    past_instant,
    print_json,
    rejudge,
    who,
)
from pipeline.commands.totals import say_changed, standing
from pipeline.register import corrections, runs
from pipeline.register.values import RunRecord
from pipeline.show import NOTHING, duration, reader_of, short, table

app = typer.Typer(help="Runs: list them, give them to the right engine, add or remove some.")

RunArgument = Annotated[
    str, typer.Argument(metavar="RUN_ID", help="A run, or the beginning of its id.")
]
EngineOption = Annotated[str, typer.Option("--engine", metavar="ID", help="The engine it is of.")]
KeepBothOption = Annotated[
    bool, typer.Option("--keep-both", help="Even where it overlaps another run of the engine.")
]


@app.command("list")
def list_runs(
    context: typer.Context,
    engine: EngineFilter = None,
    removed: Annotated[bool, typer.Option("--removed", help="Removed runs too.")] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the runs, in the order of their start."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        records = runs.list_runs(session, engine_id=engine, include_removed=removed)
    if as_json:
        print_json([_as_json(record) for record in records])
        return
    if not records:
        out.print("No runs yet: take logs in with `babbitt ingest LOG... --engine ID`.")
        return
    reader = reader_of(book.settings)
    listing = table("", "run", "engine", "log", "started", "lasted", "samples", "remarks", left=3)
    for record in records:
        listing.add_row(
            short(record.run_id),
            record.engine_id,
            record.source_name or "unlogged",
            reader.instant(record.started_at) + ("" if record.start_basis != "file" else " ?"),
            duration(record.duration_s),
            NOTHING if record.unlogged else f"{record.samples:,}",
            "removed" if record.removed_at else f"{len(record.warnings) or NOTHING}",
        )
    out.print(listing)
    if any(record.start_basis == "file" for record in records):
        out.print("? the log names no start; the file's own date was taken.")


@app.command("assign")
def assign(
    context: typer.Context,
    run_id: RunArgument,
    engine: EngineOption,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Give a run to the engine that really made it."""
    book = open_from(context, logbook)
    before = standing(book)
    record = moves.assign_run(book, run_id, engine, reason=note, who=who())
    out.print(f"Run {record.run_id} is of {engine} now, and no longer of {record.engine_id}.")
    for name in (record.engine_id, engine):
        rejudge(book, name)
    say_changed(book, before)


@app.command("add-unlogged")
def add_unlogged(
    context: typer.Context,
    engine_id: Annotated[str, typer.Argument(metavar="ENGINE_ID", help="The engine that ran.")],
    minutes: Annotated[float, typer.Option(metavar="M", help="How long it ran.")],
    at: Annotated[str, typer.Option("--at", metavar="WHEN", help="When it began.")],
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Add running that no logger saw: its time counts, the rest of it stays unknown."""
    book = open_from(context, logbook)
    when = past_instant(at, "--at", reader_of(book.settings).timezone)
    with book.register.writing(who()) as session:
        record = corrections.add_unlogged(session, engine_id, minutes=minutes, at=when, reason=note)
    out.print(f"{engine_id}: {duration(record.duration_s)} of unlogged running, {record.run_id}.")


@app.command("remove")
def remove(
    context: typer.Context,
    run_id: RunArgument,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Take a run out of every sum; `run restore` brings it back."""
    book = open_from(context, logbook)
    before = standing(book)
    with book.register.writing(who()) as session:
        record = corrections.remove_run(session, run_id, note)
    out.print(
        f"Run {record.run_id} counts no more; `babbitt run restore {record.run_id}` undoes it."
    )
    rejudge(book, record.engine_id)
    say_changed(book, before)


@app.command("restore")
def restore(
    context: typer.Context,
    run_id: RunArgument,
    keep_both: KeepBothOption = False,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Count a removed run again."""
    book = open_from(context, logbook)
    before = standing(book)
    with book.register.writing(who()) as session:
        record = corrections.restore_run(session, run_id, note, keep_both=keep_both)
    out.print(f"Run {record.run_id} counts again.")
    rejudge(book, record.engine_id)
    say_changed(book, before)


def _as_json(record: RunRecord) -> dict[str, Any]:
    return {**asdict(record), "channels": [channel.name for channel in record.channels]}
