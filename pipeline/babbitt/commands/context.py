"""What stands before a command's name; light, so that help needs nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import typer

LOGBOOK_OPTION = typer.Option(
    "--logbook",
    envvar="BABBITT_LOGBOOK",
    metavar="DIR",
    help="The logbook to work on.",
    show_default="the current folder",
)


@dataclass(frozen=True)
class Context:
    """The options given before the command's name."""

    logbook: Path | None
