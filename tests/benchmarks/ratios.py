"""What was measured, as rows of a table: ratios of seconds, and seconds themselves."""

from __future__ import annotations

import os
import platform
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

import psutil

HEADINGS = ("what", "median", "lowest", "highest", "to reach", "aim")


@dataclass(frozen=True)
class Row:
    """One row: seconds, or a ratio of ours over a baseline of the same run, or the other way."""

    what: str
    values: tuple[float, ...]
    reach: float | None = None
    aim: float | None = None
    unit: str = ""

    @property
    def median(self) -> float:
        return statistics.median(self.values)

    @property
    def reached(self) -> bool:
        """Whether the reach is met; an aim above the reach means that more is better."""
        if self.reach is None:
            return True
        more_is_better = self.aim is not None and self.aim > self.reach
        return self.median >= self.reach if more_is_better else self.median <= self.reach

    def cells(self) -> tuple[str, ...]:
        """What stands in the columns of HEADINGS."""
        unit = f" {self.unit}" if self.unit else ""
        measured = (self.median, min(self.values), max(self.values))
        reach = "" if self.reach is None else f"{self.reach:g}{unit}"
        missed = "" if self.reached else " (missed)"
        aim = "" if self.aim is None else f"{self.aim:g}{unit}"
        return self.what, *(f"{value:.2f}{unit}" for value in measured), reach + missed, aim

    def __str__(self) -> str:
        return "  ".join(self.cells())


def as_markdown(
    title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], *, about: str | None = None
) -> str:
    """Return a page that holds a table; `about` says where it comes from, or else the machine."""
    lines = [f"# {title}", "", about or machine(), ""]
    lines += [f"| {' | '.join(headings)} |", f"|{'|'.join([' --- '] * len(headings))}|"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows), ""])


def publish(page: str, path: Path | None) -> None:
    """Print a page, and write it to a file where one is named."""
    print(page)
    if path is not None:
        path.write_text(page, encoding="utf-8")


def machine() -> str:
    """Say on what was measured, and when."""
    memory_gb = psutil.virtual_memory().total / 1e9
    return (
        f"Measured on {datetime.now(UTC):%Y-%m-%d}: {os.cpu_count()} cores, {memory_gb:.0f} GB, "
        f"Python {platform.python_version()}, {platform.system()}; made again by its command."
    )


def paired_seconds(
    ours: Callable[[], object], baseline: Callable[[], object], *, rounds: int
) -> list[tuple[float, float]]:
    """Seconds of both, in turn, after one round to warm up: a drift of the machine hits both."""
    pairs = []
    for _ in range(rounds + 1):
        seconds = []
        for function in (ours, baseline):
            began = perf_counter()
            function()
            seconds.append(perf_counter() - began)
        pairs.append((seconds[0], seconds[1]))
    return pairs[1:]
