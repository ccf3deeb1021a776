"""The command line: one thin command a stage."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from pipeline.commands import (
    engines,
    events,
    exchange,
    inspect,
    journal,
    logs,
    match,
    outlook,
    parts,
    report,
    runs,
    serve,
    teardown,
    totals,
    upkeep,
    watch,
)
from pipeline.commands.common import LOGBOOK_OPTION, Context
from pipeline.errors import BabbittError

app = typer.Typer(
    name="babbitt",
    help=(
        "Reads race-engine logs, finds the events that harm an engine, and adds them up since its "
        "last refresh."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("init")(upkeep.init)
app.add_typer(engines.app, name="engine")
app.command("inspect")(inspect.inspect)
app.command("ingest")(logs.ingest)
app.command("watch")(watch.watch)
app.command("detect")(logs.detect)
app.command("events")(events.events)
app.command("review")(events.review)
app.command("totals")(totals.totals)
app.add_typer(runs.app, name="run")
app.add_typer(parts.app, name="part")
app.add_typer(teardown.app, name="teardown")
app.command("match")(match.match)
app.command("outlook")(outlook.outlook)
app.command("backtest")(outlook.backtest)
app.command("report")(report.report)
app.command("journal")(journal.journal)
app.command("undo")(journal.undo)
app.command("redo")(journal.redo)
app.command("amend")(journal.amend)
app.command("withdraw")(journal.withdraw)
app.command("export")(exchange.export)
app.command("import")(exchange.import_file)
app.command("backup")(exchange.backup)
app.command("restore")(exchange.restore)
app.command("check")(upkeep.check)
app.command("serve")(serve.serve)
app.command("demo")(upkeep.demo)


@app.callback()
def options(
    context: typer.Context,
    logbook: Annotated[Path | None, LOGBOOK_OPTION] = None,
) -> None:
    """Options before the command's name hold for every command."""
    context.obj = Context(logbook)


def main() -> None:
    """Run the command line; anything the user can put right ends as one sentence and status 1."""
    try:
        app()
    except BabbittError as error:
        sys.stderr.write(f"babbitt: {error}\n")
        sys.exit(1)
