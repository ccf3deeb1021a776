"""Small logs in a folder, and a logbook of one engine to take them into."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.register.records import engines, events, runs
from invented import SPEC

HEADER = "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C)"


def make_book(folder: Path) -> Logbook:
    """Make a logbook with the engine E1."""
    book = create_logbook(folder, settings_text())
    with book.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    return book


def rows_of(*, peak_rpm: int = 6000, samples: int = 200) -> list[str]:
    """Rows at 10 Hz of steady running, with one burst of speed in the middle."""
    middle = samples // 2
    rpm = [peak_rpm if abs(i - middle) < 4 else 4000 + i % 7 for i in range(samples)]
    return [f"{i / 10:.1f},{rpm[i]},{400 + i % 5},{90 + i % 3}" for i in range(samples)]


def text_of(start: str, rows: Sequence[str]) -> str:
    """The text of a log."""
    return "\n".join([f"Start,{start}", HEADER, *rows, ""])


def write_log(path: Path, start: str, **about: int) -> Path:
    """Write a log that began at `start`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text_of(start, rows_of(**about)), encoding="utf-8")
    return path


def write_season(folder: Path, logs: int = 12) -> list[Path]:
    """Write logs of as many hours, and among them a copy, an overlap and one that is no log."""
    made = [
        write_log(
            folder / f"day{i // 6}" / f"run{i:02d}.csv",
            f"2026-05-{1 + i // 6:02d}T{10 + i % 6}:00:00Z",
            peak_rpm=8000 if i % 3 == 0 else 7000,
        )
        for i in range(logs)
    ]
    copy = folder / "day0" / "run02 copy.csv"
    copy.write_bytes(made[2].read_bytes())
    overlap = write_log(folder / "day1" / "run07 late.csv", "2026-05-02T11:00:05Z", peak_rpm=7900)
    broken = folder / "day1" / "notes.txt"
    broken.write_text("front left 1.9 bar\n", encoding="utf-8")
    return sorted([*made, copy, overlap, broken])


def contents(book: Logbook) -> tuple[list[Any], list[Any]]:
    """The runs and events of E1, in a form that does not depend on when they came in."""
    with book.register.reading() as session:
        recorded = runs.list_runs(session, engine_id="E1")
        found = events.list_events(session, engine_id="E1")
    return [(run.run_id, run.source_name, run.started_at) for run in recorded], found
