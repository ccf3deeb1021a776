"""babbitt run: list runs, and put right what the logs got wrong."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    NoteOption,
    open_from,
    out,
    pairs,
    past_instant,
    print_json,
    who,
)
from babbitt.commands.reading import (
    LateralOption,
    MapOption,
    ProfileOption,
    StartedOption,
    UnitOption,
)
from babbitt.commands.totals import say_changed, standing
from babbitt.commands.workers import rejudge
from babbitt.errors import Remedy
from babbitt.ingest.correct import Correction
from babbitt.jobs import move_runs as moves
from babbitt.model.circuit import known_in_words
from babbitt.model.records import RunRecord
from babbitt.present.remedies import in_terminal, options_text, remarks_of
from babbitt.present.words import NOTHING, duration, reader_of, short, table
from babbitt.register.records import corrections, runs, sensors
from babbitt.register.records.circuits import circuits_known

app = typer.Typer(help="Runs: list and show them, read them again, add, move or remove some.")

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
    circuit: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only those at this circuit.")
    ] = None,
    removed: Annotated[bool, typer.Option("--removed", help="Removed runs too.")] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the runs, in the order of their start."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        records = runs.list_runs(
            session, engine_id=engine, circuit=circuit, include_removed=removed
        )
        known = circuits_known(session)
    if as_json:
        print_json([_as_json(record) for record in records])
        return
    if not records and circuit is not None:
        out.print(f"No run at {circuit}. {known_in_words(known)}")
        for line in () if known else in_terminal([Remedy("state_circuit")]):
            out.print(f"  {line}", markup=False)
        return
    if not records:
        out.print("No runs yet: take logs in with `babbitt ingest LOG... --engine ID`.")
        return
    reader = reader_of(book.settings)
    columns = ("run", "engine", "log", "circuit", "started", "lasted", "samples", "remarks")
    listing = table("", *columns, left=4)
    for record in records:
        listing.add_row(
            short(record.run_id),
            record.engine_id,
            record.source_name or "unlogged",
            record.circuit or NOTHING,
            reader.instant(record.started_at) + ("" if record.start_basis != "file" else " ?"),
            duration(record.duration_s),
            NOTHING if record.unlogged else f"{record.samples:,}",
            "removed" if record.removed_at else f"{len(remarks_of(record)) or NOTHING}",
        )
    out.print(listing)
    if any(record.start_basis == "file" for record in records):
        out.print("? the log names no start; the file's own date was taken.")


@app.command("show")
def show(
    context: typer.Context,
    run_id: RunArgument,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Show one run: how its log was read, and whether its sensors can be believed."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        record = runs.find_run(session, run_id)
    if as_json:
        print_json(_as_json(record))
        return
    began = reader_of(book.settings).instant(record.started_at)
    out.print(
        f"Run {record.run_id} of {record.engine_id}{_at(record)}: "
        f"{record.source_name or 'unlogged'}, began {began}, lasted "
        f"{duration(record.duration_s)}, {record.samples:,} samples."
    )
    for title, lines in (
        ("Read as", (*record.dialect, *record.conversions)),
        ("Remarks", remarks_of(record)),
    ):
        if lines:
            out.print(f"{title}:")
        for line in lines:
            out.print(f"- {line}")
    if record.trusted:
        out.print("Somebody looked at its sensors and found them sound.")
    elif not remarks_of(record):
        out.print("Nothing speaks against its sensors.")


@app.command("reread")
def reread(
    context: typer.Context,
    run_id: RunArgument,
    units: UnitOption = None,
    columns: MapOption = None,
    swaps: Annotated[
        list[str] | None,
        typer.Option("--swap", metavar="A=B", help="Channels in each other's place; repeatable."),
    ] = None,
    zeros: Annotated[
        list[str] | None,
        typer.Option(
            "--zero", metavar="CHANNEL", help="Take what it reads at rest off; repeatable."
        ),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="CHANNEL", help="Count it as not watched; repeatable."),
    ] = None,
    lateral_positive: LateralOption = None,
    started: StartedOption = None,
    profile: ProfileOption = None,
    keep_both: KeepBothOption = False,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Read the kept log of a run again, where it was taken for what it is not; reviews stay."""
    book = open_from(context, logbook)
    zone = reader_of(book.settings).timezone
    correction = Correction(
        units=pairs(units, "--unit"),
        columns=pairs(columns, "--map"),
        swaps=tuple(pairs(swaps, "--swap").items()),
        zeros=tuple(zeros or ()),
        left_out=tuple(without or ()),
        lateral_positive=lateral_positive,
        started=past_instant(started, "--started", zone) if started else None,
        profile=book.settings.profile_named(profile) if profile else None,
        profile_name=profile,
    )
    before = standing(book)
    record = moves.reread_run(book, run_id, correction, keep_both=keep_both, reason=note, who=who())
    rejudge(book, record.engine_id)
    with book.register.reading() as session:
        record = runs.find_run(session, record.run_id)
    out.print(
        f"Run {record.run_id} of {record.engine_id} was read again; `babbitt undo` undoes it."
    )
    for line in (*record.conversions, *remarks_of(record)):
        out.print(f"- {line}")
    say_changed(book, before)


@app.command("export")
def export(
    context: typer.Context,
    run_id: RunArgument,
    log_format: Annotated[
        Literal["csv", "parquet"], typer.Option("--format", help="Of the file that is written.")
    ] = "csv",
    path: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="Default: RUN_ID.csv or .parquet."),
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Write a run as a log in canonical units, which reads in again as the same values."""
    from babbitt.exchange.run_log import write_log

    book = open_from(context, logbook)
    with book.register.reading() as session:
        record = runs.find_run(session, run_id)
    if record.unlogged:
        raise typer.BadParameter(f"{record.run_id} is unlogged running: it has no samples")
    to = path or Path(f"{record.run_id}.{log_format}")
    if to.exists():
        raise typer.BadParameter(f"{to} exists: name another file with --output")
    samples = write_log(book, record, to, log_format)
    out.print(f"Wrote {samples:,} samples of run {record.run_id} to {to}.", markup=False)


@app.command("trust")
def trust(
    context: typer.Context,
    run_id: RunArgument,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Say that you looked at the sensors of a run and found nothing wrong with them."""
    book = open_from(context, logbook)
    before = standing(book)
    with book.register.writing(who()) as session:
        record = sensors.trust_run(session, run_id, note)
    out.print(f"The sensors of run {record.run_id} are trusted; `babbitt undo` undoes it.")
    rejudge(book, record.engine_id)
    say_changed(book, before)


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
    circuit: Annotated[str | None, typer.Option(metavar="NAME", help="Where it ran.")] = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Add running that no logger saw: its time counts, the rest of it stays unknown."""
    book = open_from(context, logbook)
    when = past_instant(at, "--at", reader_of(book.settings).timezone)
    with book.register.writing(who()) as session:
        record = corrections.add_unlogged(
            session, engine_id, minutes=minutes, at=when, circuit=circuit, reason=note
        )
    out.print(
        f"{engine_id}: {duration(record.duration_s)} of unlogged running{_at(record)}, "
        f"{record.run_id}."
    )


@app.command("correct")
def correct(
    context: typer.Context,
    run_ids: Annotated[
        list[str], typer.Argument(metavar="RUN_ID...", help="Runs, or the beginnings of their ids.")
    ],
    circuit: Annotated[
        str, typer.Option(metavar="NAME", help='Where they ran; "" where nobody knows.')
    ],
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Say where runs were; `babbitt correct run` corrects the times of unlogged running."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        records = corrections.set_circuit(session, run_ids, circuit, note)
    for record in records:
        where = _at(record) or " at a circuit that nobody named"
        out.print(f"Run {record.run_id} of {record.engine_id} was{where}.")


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


def _at(record: RunRecord) -> str:
    """Return where a run was, as it follows what it is called; "" where nobody said."""
    return f" at {record.circuit}" if record.circuit else ""


def _as_json(record: RunRecord) -> dict[str, Any]:
    return {
        **asdict(record),
        "channels": [channel.name for channel in record.channels],
        "warnings": remarks_of(record),
        "doubts": [
            {
                "sort": doubt.sort,
                "channels": doubt.channels,
                "evidence": doubt.evidence,
                "options": options_text(doubt.remedies),
            }
            for doubt in record.doubts
        ],
    }
