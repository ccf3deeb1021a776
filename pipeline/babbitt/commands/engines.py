"""babbitt engine: add engines, change their limits, write down refreshes, list them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    NoteOption,
    err,
    instant,
    open_from,
    out,
    past_instant,
    print_json,
    who,
)
from babbitt.logbook.folder import saying_what_failed
from babbitt.present.views.register import AS_BUILT, ENGINES, as_built_cells, engine_cells
from babbitt.present.words import faults_in_words, reader_of, table
from babbitt.register.records import builds, engines

app = typer.Typer(help="Engines: add them, set their limits, write down refreshes.")

EngineArgument = Annotated[str, typer.Argument(metavar="ID", help="The engine's serial or name.")]
SpecOption = Annotated[
    Path, typer.Option("--spec", metavar="SPEC.toml", help="Its geometry and limits.")
]


@app.command("add")
def add(
    context: typer.Context,
    engine_id: EngineArgument,
    spec: SpecOption,
    built: Annotated[
        str | None,
        typer.Option(metavar="WHEN", help="When it was first built; earlier logs are refused."),
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Add an engine with the spec that judges it."""
    book = open_from(context, logbook)
    zone = reader_of(book.settings).timezone
    built_at = instant(built, "--built", zone) if built else None
    with book.register.writing(who()) as session:
        engines.add_engine(session, engine_id, _read(spec), source=str(spec), built_at=built_at)
    out.print(f"{engine_id} is in the register.")


@app.command("spec")
def set_spec(
    context: typer.Context,
    engine_id: EngineArgument,
    spec: SpecOption,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Put other limits in force for an engine, and judge its runs again."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        engines.set_spec(session, engine_id, _read(spec), source=str(spec), reason=note)
    out.print(f"{engine_id} has new limits.")
    from babbitt.commands.workers import rejudge

    rejudge(book, engine_id)


@app.command("template")
def template(
    context: typer.Context,
    like: Annotated[
        str | None, typer.Option(metavar="ID", help="Fill in what holds for this engine.")
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Print a commented spec to fill in; needs no logbook without --like."""
    from babbitt.present.spec_template import spec_template

    spec = None
    if like is not None:
        with open_from(context, logbook).register.reading() as session:
            spec = engines.spec_of(session, like)
    typer.echo(spec_template(spec), nl=False)


@app.command("refresh")
def refresh(
    context: typer.Context,
    engine_id: EngineArgument,
    at: Annotated[str, typer.Option("--at", metavar="WHEN", help="Date, or date and time.")],
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="SHEET.toml", help="Parts replaced or kept, as measured."),
    ] = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Write down that an engine was rebuilt: its totals begin anew."""
    book = open_from(context, logbook)
    from babbitt.teardown.build_sheet import read_sheet

    lines, measurements = read_sheet(_read(sheet), source=str(sheet)) if sheet else ((), ())
    reader = reader_of(book.settings)
    when = past_instant(at, "--at", reader.timezone)
    with book.register.writing(who()) as session:
        builds.add_refresh(session, engine_id, when, note, lines=lines, measurements=measurements)
    out.print(f"{engine_id}: refresh on {reader.instant(when)}; totals count from then.")
    from babbitt.commands.workers import rejudge

    rejudge(book, engine_id)


@app.command("sheet")
def show_sheet(
    context: typer.Context,
    engine_id: EngineArgument,
    build: Annotated[
        int | None, typer.Option("--build", metavar="N", help="Build 1 is the first; else today's.")
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Show what a build measured, beside the build before."""
    book = open_from(context, logbook)
    from babbitt.register.queries.as_built import as_built

    with book.register.reading() as session:
        found = as_built(session, engine_id, number=build)
    if as_json:
        print_json([asdict(each) | {"change": each.change} for each in found])
        return
    if not found:
        out.print(f"Nothing was measured: `babbitt engine refresh {engine_id} --sheet SHEET.toml`.")
        return
    listing = table("", *AS_BUILT, left=4)
    for each in found:
        cells = as_built_cells(each)
        if each.now is not None and each.now.within_tolerance is False:
            cells[AS_BUILT.index("now")] += " !"
        listing.add_row(*cells)
    out.print(listing)
    if any(each.now and each.now.within_tolerance is False for each in found):
        out.print("! outside its tolerance.")


@app.command("list")
def list_engines(
    context: typer.Context, as_json: JsonOption = False, logbook: LogbookOption = None
) -> None:
    """List the engines."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        records = engines.list_engines(session)
    specs, faults = engines.specs_of(records)
    for sentence in faults_in_words(faults):
        err.print(sentence)
    if as_json:
        print_json(
            [
                {
                    "engine_id": record.engine_id,
                    "type": specs[record.engine_id].engine.type if usable else None,
                    "built": record.built_at,
                    "refreshes": record.refreshes,
                    "last_refresh": record.last_refresh,
                    "runs": record.runs,
                    "last_run": record.last_run,
                    "spec_version": specs[record.engine_id].version() if usable else None,
                }
                for record in records
                for usable in [record.engine_id in specs]
            ]
        )
        return
    if not records:
        out.print("No engines yet: add one with `babbitt engine add ID --spec SPEC.toml`.")
        return
    reader = reader_of(book.settings)
    listing = table("", *ENGINES, left=5)
    for record in records:
        listing.add_row(*engine_cells(record, reader))
    out.print(listing)


def _read(path: Path) -> str:
    with saying_what_failed(f"cannot read {path}"):
        return path.read_text(encoding="utf-8")
