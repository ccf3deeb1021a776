"""The whole job on an invented team's season (demo_logs/): from its logs to totals."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from importlib import resources
from pathlib import Path
from typing import Any

from pipeline.flow import Intake, ingest_log
from pipeline.ingest.source import Instructions
from pipeline.logbook import Logbook, create_logbook
from pipeline.register import builds, engines
from pipeline.settings import zone


def run_demo(
    folder: Path,
    *,
    track: Callable[[Iterable[Any], int], Iterable[Any]] = lambda items, _: items,
) -> tuple[Logbook, tuple[Intake, ...]]:
    """Make a logbook of the invented season: its engines, refreshes and logs, in their order.

    Args:
        folder: a new or empty folder.
        track: passes the logs through, and is told their number; for a progress bar.

    Returns:
        The logbook, and what became of each log.

    Raises:
        LogbookError: the folder is in use or cannot be written.
    """
    with resources.as_file(resources.files("demo_logs")) as data:
        season = tomllib.loads((data / "season.toml").read_text(encoding="utf-8"))
        settings = (data / season["logbook"]).read_text(encoding="utf-8")
        book = create_logbook(folder, settings)
        with book.register.writing() as session:
            for engine in season["engine"]:
                spec = (data / engine["spec"]).read_text(encoding="utf-8")
                engines.add_engine(session, engine["id"], spec, built_at=engine["built_at"])
                for refresh in engine.get("refresh", ()):
                    builds.add_refresh(session, engine["id"], refresh["at"], refresh["note"])
        logs = season["log"]
        intakes = tuple(
            ingest_log(book, data / log["file"], _instructions(book, log))
            for log in track(logs, len(logs))
        )
    return book, intakes


def _instructions(book: Logbook, log: dict[str, Any]) -> Instructions:
    return Instructions(
        engine_id=log["engine"],
        profile=book.settings.profile_named(log["profile"]) if "profile" in log else None,
        started=log.get("started"),
        zone=zone(book.settings.timezone),
    )
