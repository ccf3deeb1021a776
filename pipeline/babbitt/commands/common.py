"""What every command needs: the logbook it works on, output for people or for programs."""

from __future__ import annotations

import getpass
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.text import Text

from babbitt.commands.context import LOGBOOK_OPTION, Context
from babbitt.errors import RegisterError
from babbitt.logbook.folder import SETTINGS_FILE, Logbook, open_logbook, read_settings
from babbitt.logbook.settings import Settings
from babbitt.model.plain_text import parse_instant, visible

if TYPE_CHECKING:
    from rich.progress import Progress

LogbookOption = Annotated[Path | None, LOGBOOK_OPTION]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, and nothing else.")]
EngineFilter = Annotated[
    str | None, typer.Option("--engine", metavar="ID", help="Only this engine's.")
]
NoteOption = Annotated[str, typer.Option("--note", metavar="T", help="Why; kept in the record.")]

_PIPED_WIDTH = 120
"""Columns where no terminal says how wide it is."""


class _Console(Console):
    """A console that shows text as it is: names of logs and headers may come from anywhere."""

    def render_str(self, text: str, **how: Any) -> Text:
        """Return the text that is shown for `text`."""
        return super().render_str(visible(text), **how)


def _console(*, stderr: bool) -> Console:
    """Return a console that prints text as it is: headers and notes may hold square brackets."""
    stream = sys.stderr if stderr else sys.stdout
    width = None if stream.isatty() else _PIPED_WIDTH
    return _Console(stderr=stderr, width=width, markup=False, emoji=False, highlight=False)


out = _console(stderr=False)
err = _console(stderr=True)


def open_from(context: typer.Context, logbook: Path | None) -> Logbook:
    """Open the logbook named after the command, else before it, else the current folder's."""
    return open_logbook(logbook_folder(context, logbook))


def settings_from(context: typer.Context, logbook: Path | None) -> Settings:
    """Read the settings of the logbook; those of a new one where none is named and none is here."""
    named = _named(context, logbook)
    if named is None and not (Path() / SETTINGS_FILE).exists():
        return Settings()
    return read_settings(named or Path())


def logbook_folder(context: typer.Context, logbook: Path | None) -> Path:
    """Return the folder of the logbook that the options name, else the current one."""
    return _named(context, logbook) or Path()


def _named(context: typer.Context, logbook: Path | None) -> Path | None:
    before = context.find_object(Context)
    return logbook or (before.logbook if before else None)


def print_json(value: Any) -> None:
    """Print a value as JSON on standard output."""
    sys.stdout.write(_as_json(value, indent=1) + "\n")


def print_json_line(value: Any) -> None:
    """Print a value as one line of JSON, at once: for output that goes on for ever."""
    sys.stdout.write(_as_json(value) + "\n")
    sys.stdout.flush()


def instant(text: str, option: str, timezone: tzinfo | None) -> datetime:
    """Read the instant given to an option.

    Args:
        text: as typed.
        option: its name, for errors.
        timezone: of instants that state none; None leaves them without.

    Raises:
        typer.BadParameter: it is none.
    """
    try:
        at = parse_instant(text)
        return at if at.tzinfo or timezone is None else at.replace(tzinfo=timezone)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from error


def past_instant(text: str, option: str, timezone: tzinfo) -> datetime:
    """Read the instant of something that happened.

    Raises:
        typer.BadParameter: it is none.
        RegisterError: it lies ahead by more than clocks and zones differ.
    """
    at = instant(text, option, timezone)
    if at > datetime.now(UTC) + timedelta(days=1):
        raise RegisterError(f"{option} {text} lies in the future: check the date.")
    return at


def pairs(given: Sequence[str] | None, option: str) -> dict[str, str]:
    """Read the ``KEY=VALUE`` values of a repeated option.

    Raises:
        typer.BadParameter: one is not of that form.
    """
    read: dict[str, str] = {}
    for text in given or ():
        key, _, value = (part.strip() for part in text.rpartition("="))
        if not key or not value:
            raise typer.BadParameter(f"{text!r} is not of the form KEY=VALUE", param_hint=option)
        read[key] = value
    return read


@contextmanager
def progress(title: str, *, quiet: bool) -> Iterator[Callable[[Iterable[Any], int], Iterable[Any]]]:
    """Yield a function that passes items through and shows how far it is, on standard error.

    The bar is drawn only where a person looks on, and is gone when the work is done.
    """
    with _bar(title, "{task.completed}/{task.total}", quiet=quiet) as bar:
        yield lambda items, total: bar.track(items, total=total)


@contextmanager
def progress_to(total: float, title: str, *, quiet: bool) -> Iterator[Callable[[float], None]]:
    """Yield a function that shows how far the work is when it has come to so much of `total`."""
    with _bar(title, "{task.percentage:.0f} %", quiet=quiet) as bar:
        task = bar.add_task("", total=total)
        yield lambda reached: bar.update(task, completed=reached)


def _bar(title: str, reached: str, *, quiet: bool) -> Progress:
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    return Progress(
        TextColumn(title),
        BarColumn(),
        TextColumn(reached),
        TimeRemainingColumn(),
        console=err,
        transient=True,
        disable=quiet or not err.is_terminal,
    )


def who() -> str:
    """Return the name under which the journal writes down a change."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def _as_json(value: Any, indent: int | None = None) -> str:
    """Return JSON; bytes of a file's name that are no UTF-8 are escaped, as JSON can."""
    text = json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False, default=_encode)
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _encode(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"cannot write {type(value).__name__} as JSON")
