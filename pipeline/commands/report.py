"""babbitt report: a page to print and keep, of one engine or of all."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands.common import LogbookOption, instant, open_from, out
from pipeline.logbook import saying_what_failed
from pipeline.outlook.ahead import MOST_RUNS
from pipeline.show import reader_of


def report(
    context: typer.Context,
    to: Annotated[
        Path, typer.Option("-o", "--to", metavar="FILE.html", help="Written anew if it is there.")
    ],
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine; else all.")
    ] = None,
    runs: Annotated[
        int, typer.Option(min=1, max=MOST_RUNS, help="How many runs to look ahead.")
    ] = 1,
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="As it stood then, not now.")
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Write a page to print: what an engine has been through, and what its next runs may bring."""
    # Plotly, and scipy which the damage model needs, are slow to import
    from pipeline.report.engine import engine_report
    from pipeline.report.fleet import fleet_report
    from pipeline.views.engine_prospect import prospect
    from pipeline.views.engine_story import engine_story
    from pipeline.views.fleet import fleet
    from pipeline.views.foresight import Foresight

    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    when = instant(at, "--at", reader.timezone).astimezone(UTC) if at else datetime.now(UTC)
    foreseen = Foresight(book).at(when)
    if engine_id is None:
        page = fleet_report(fleet(foreseen, runs=runs), reader, at=when)
    else:
        story = engine_story(book, foreseen, engine_id)
        page = engine_report(story, prospect(book, foreseen, engine_id, runs), reader)
    with saying_what_failed(f"cannot write {to}"):
        to.write_text(page, encoding="utf-8")
    out.print(f"Wrote {to}: open it in any browser, and print it from there.")
