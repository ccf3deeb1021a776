"""babbitt new, verify and demo: make a logbook, verify it, and see the whole job run."""

from __future__ import annotations

import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Literal

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    err,
    open_from,
    out,
    print_json,
    progress,
)
from babbitt.commands.match import print_match
from babbitt.commands.outlook import print_outlooks
from babbitt.commands.totals import print_overview, totals_of
from babbitt.jobs.demo import newest_damage, run_demo, seasons_end
from babbitt.jobs.verify import verify as verify_logbook
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.logbook.settings import zone
from babbitt.present.words import CAUTION, reader_of

_DEMO_WIDTH = 100
"""Columns at most: sentences are to be read."""


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    units: Annotated[
        Literal["metric", "imperial"], typer.Option(help="Units to show; storage is metric.")
    ] = "metric",
    timezone: Annotated[
        str, typer.Option(metavar="ZONE", help="Zone of logs that state none, like Europe/Paris.")
    ] = "UTC",
) -> None:
    """Make a logbook: the folder that keeps a team's data."""
    try:
        zone(timezone)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--timezone") from error
    create_logbook(folder, settings_text(units, timezone))
    out.print(
        f"Made a logbook in {folder}. Next: `babbitt engine add ID --spec SPEC.toml` in there."
    )


def verify(
    context: typer.Context, as_json: JsonOption = False, logbook: LogbookOption = None
) -> None:
    """Verify the logbook: every run readable, hashes right, register and files agree."""
    book = open_from(context, logbook)
    with progress("Checking", quiet=as_json) as track:
        found = verify_logbook(book, track=track)
    if as_json:
        print_json(asdict(found))
    elif found.faults:
        for fault in found.faults:
            out.print(f"- {fault}")
    else:
        out.print(f"{found.runs} runs checked; the logbook is whole.")
    if found.unfinished and not as_json:
        out.print("A command that was cut off left this; nothing is lost by it:")
        for sentence in found.unfinished:
            out.print(f"- {sentence}")
    if found.faults:
        raise typer.Exit(1)


def demo(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Keep the logbook here; else in a temporary folder."),
    ] = None,
) -> None:
    """Run the whole job on an invented team's two seasons, and end on a match and an outlook."""
    where = folder or Path(tempfile.mkdtemp(prefix="babbitt-demo-"))
    with progress("Taking in the seasons' logs", quiet=False) as track:
        book, intakes = run_demo(where, track=track)
    refused = [intake for intake in intakes if intake.error]
    for intake in refused:
        err.print(f"Refused: {intake.error}")
    out.width = min(out.width, _DEMO_WIDTH)
    out.print(
        f"{len(intakes) - len(refused)} logs of an invented team, taken in to {where}.\n"
        f"Look around: `babbitt --logbook {where} events`, or run list, or totals NB-03."
    )
    _print_answers(book)
    if refused:
        raise typer.Exit(1)


def _print_answers(book: Logbook) -> None:
    """Print what the season put on the engines, what it did to one, and what may come next."""
    # scipy, which the damage model needs, is slow to import
    from babbitt.jobs.attribute import match_teardown
    from babbitt.jobs.outlook import outlooks

    reader = reader_of(book.settings)
    print_overview(totals_of(book), reader)
    teardown = newest_damage(book)
    out.print()
    print_match(match_teardown(book, teardown.engine_id, at=teardown.at), reader)
    at = seasons_end(book)
    found = outlooks(book, runs=1, at=at)
    out.print()
    out.print(f"After the season, on {reader.day(at)}, and with one more run:", style="bold")
    print_outlooks(found.engines, reader, found.rpm_at)
    out.print(CAUTION, style="dim")
