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

from babbitt.commands.context import LOGBOOK_OPTION, Context
from babbitt.commands.help_pages import EXAMPLES, HEADINGS
from babbitt.errors import BabbittError

COMMANDS = {
    "new": "upkeep.new",
    "demo": "upkeep.demo",
    "preview": "preview.preview",
    "ingest": "logs.ingest",
    "watch": "watch.watch",
    "refused": "refusals.app",
    "run": "runs.app",
    "events": "events.events",
    "lap": "laps.laps_app",
    "corner": "laps.corners_app",
    "compare": "compare.compare",
    "change": "changes.app",
    "review": "events.review",
    "detect": "logs.detect",
    "totals": "totals.totals",
    "outlook": "outlook.outlook",
    "backtest": "outlook.backtest",
    "report": "report.report",
    "engine": "engines.app",
    "part": "parts.app",
    "teardown": "teardown.app",
    "match": "match.match",
    "journal": "journal.journal",
    "undo": "journal.undo",
    "redo": "journal.redo",
    "correct": "journal.correct",
    "withdraw": "journal.withdraw",
    "serve": "serve.serve",
    "export": "exchange.export",
    "import": "exchange.import_file",
    "backup": "exchange.backup",
    "restore": "exchange.restore",
    "verify": "upkeep.verify",
}
"""Every command, in the order of the help, and what of `babbitt.commands` it is."""

ONCE = {
    "init": "new",
    "inspect": "preview",
    "log": "refused",
    "amend": "correct",
    "check": "verify",
}
"""Names that commands had before."""


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

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that is asked for; one that has another name now is told."""
        if args and args[0] in ONCE:
            ctx.fail(f"The command {args[0]} is called {ONCE[args[0]]} now.")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands under their headings; none is imported for that."""
        for heading, commands in HEADINGS.items():
            with formatter.section(heading):
                formatter.write_dl(list(commands.items()))
        formatter.write_paragraph()
        formatter.write_text("`babbitt COMMAND --help` tells more, with an example.")


@cache
def _load(name: str) -> Any:
    module, attribute = COMMANDS[name].split(".")
    found = getattr(import_module(f"babbitt.commands.{module}"), attribute)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None)
    if isinstance(found, typer.Typer):
        alone.add_typer(found, name=name)
    else:
        alone.command(name)(found)
    command = typer.main.get_group(alone).commands[name]
    for path, each in [(name, command), *_below(name, command)]:
        if path in EXAMPLES:
            each.epilog = f"\b\nFor example:\n  {EXAMPLES[path]}"
    return command


def _below(path: str, command: Any) -> Iterator[tuple[str, Any]]:
    for name, each in getattr(command, "commands", {}).items():
        yield f"{path} {name}", each


app = typer.Typer(
    name="babbitt",
    cls=_Group,
    help=(
        "Reads race-engine logs, finds the events that harm an engine, and adds them up since its "
        "last refresh."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _say_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version  # slow to import

        sys.stdout.write(f"babbitt {version('babbitt')}\n")
        raise typer.Exit


@app.callback()
def options(
    context: typer.Context,
    logbook: Annotated[Path | None, LOGBOOK_OPTION] = None,
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Say which version this is.", callback=_say_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Options before the command's name hold for every command."""
    context.obj = Context(logbook)


def main() -> None:
    """Run the command line; anything the user can put right ends as one sentence and status 1."""
    try:
        app()
    except BabbittError as error:
        from babbitt.model.plain_text import visible
        from babbitt.present.remedies import in_terminal

        sys.stderr.write(f"babbitt: {visible(str(error))}\n")
        for line in in_terminal(error.remedies):
            sys.stderr.write(f"  {visible(line)}\n")
        sys.exit(1)
