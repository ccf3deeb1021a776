"""babbitt refused: the logs that were refused, and giving them up."""

from __future__ import annotations

from typing import Annotated

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    open_from,
    out,
    print_json,
    who,
)
from babbitt.present.remedies import with_option
from babbitt.present.views.logs_refused import settling_command
from babbitt.present.words import reader_of, short, table
from babbitt.register.records import refusals

app = typer.Typer(help="Logs that were refused: why, what settles it, and setting them aside.")

LogArguments = Annotated[
    list[str],
    typer.Argument(metavar="LOG_ID...", help="Refused logs, or the beginnings of their ids."),
]


@app.command("list")
def list_refused(
    context: typer.Context,
    engine: EngineFilter = None,
    set_aside: Annotated[
        bool, typer.Option("--set-aside", help="Those that were set aside, too.")
    ] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the logs that were refused and not taken in since, the newest first."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        found = refusals.list_refusals(session, engine_id=engine, include_set_aside=set_aside)
    if as_json:
        print_json([with_option(refusal) for refusal in found])
        return
    if not found:
        out.print("No refused log is left.")
        return
    reader = reader_of(book.settings)
    listing = table("", "id", "engine", "log", "refused", "remarks", left=5)
    for refusal in found:
        listing.add_row(
            short(refusal.sha256),
            refusal.engine_id,
            refusal.file,
            reader.instant(refusal.at),
            "set aside" if refusal.set_aside_at else "",
        )
    out.print(listing)
    for refusal in found:
        out.print(f"{short(refusal.sha256)}: {refusal.error}")
        command = settling_command(refusal)
        if command is not None:
            out.print(f"  {command}", soft_wrap=True)


@app.command("set-aside")
def set_aside(context: typer.Context, log_ids: LogArguments, logbook: LogbookOption = None) -> None:
    """Give refused logs up: they are counted no more, even where they are refused again."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        found = [refusals.set_aside(session, log_id) for log_id in log_ids]
    for each in found:
        out.print(
            f"{each.file} is set aside; `babbitt refused take-up {short(each.sha256)}` undoes it."
        )


@app.command("take-up")
def take_up(context: typer.Context, log_ids: LogArguments, logbook: LogbookOption = None) -> None:
    """Count refused logs again that were set aside."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        found = [refusals.take_up(session, log_id) for log_id in log_ids]
    for each in found:
        out.print(f"{each.file} is one of the refused logs again.")
