"""The command line: one thin command a stage."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, cast

import typer
import typer.main
from typer.core import TyperGroup

from babbitt.commands.common import LOGBOOK_OPTION, Context
from babbitt.errors import BabbittError
from babbitt.present.words import visible

COMMANDS = {
    "new": "upkeep.new",
    "engine": "engines.app",
    "preview": "preview.preview",
    "ingest": "logs.ingest",
    "watch": "watch.watch",
    "refused": "refusals.app",
    "detect": "logs.detect",
    "events": "events.events",
    "review": "events.review",
    "totals": "totals.totals",
    "run": "runs.app",
    "part": "parts.app",
    "teardown": "teardown.app",
    "match": "match.match",
    "outlook": "outlook.outlook",
    "backtest": "outlook.backtest",
    "report": "report.report",
    "journal": "journal.journal",
    "undo": "journal.undo",
    "redo": "journal.redo",
    "correct": "journal.correct",
    "withdraw": "journal.withdraw",
    "export": "exchange.export",
    "import": "exchange.import_file",
    "backup": "exchange.backup",
    "restore": "exchange.restore",
    "verify": "upkeep.verify",
    "serve": "serve.serve",
    "demo": "upkeep.demo",
}
"""Every command, in the order of the help, and what of `babbitt.commands` it is."""


class _Commands(Mapping[str, Any]):
    """The commands by name, each imported when it is asked for: together they take long."""

    def __getitem__(self, name: str) -> Any:
        return _load(name)

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


class _Group(TyperGroup):
    """All commands."""

    def __init__(self, **named: Any) -> None:
        super().__init__(**named)
        self.commands = cast(Any, _Commands())


@cache
def _load(name: str) -> Any:
    module, attribute = COMMANDS[name].split(".")
    found = getattr(import_module(f"babbitt.commands.{module}"), attribute)
    alone = typer.Typer(add_completion=False)
    if isinstance(found, typer.Typer):
        alone.add_typer(found, name=name)
    else:
        alone.command(name)(found)
    return typer.main.get_group(alone).commands[name]


app = typer.Typer(
    name="babbitt",
    cls=_Group,
    help=(
        "Reads race-engine logs, finds the events that harm an engine, and adds them up since its "
        "last refresh."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


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
        sys.stderr.write(f"babbitt: {visible(str(error))}\n")
        sys.exit(1)
