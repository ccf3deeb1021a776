"""Ratios of seconds, ours against a baseline measured in the same run."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from dataclasses import dataclass
from time import perf_counter


@dataclass(frozen=True)
class Ratio:
    """One row of the table: ours over the baseline, or the baseline over ours."""

    what: str
    values: tuple[float, ...]
    reach: float
    aim: float

    @property
    def median(self) -> float:
        return statistics.median(self.values)

    @property
    def reached(self) -> bool:
        """Whether the reach is met; an aim above the reach means that more is better."""
        return self.median >= self.reach if self.aim > self.reach else self.median <= self.reach

    def __str__(self) -> str:
        low, high = min(self.values), max(self.values)
        met = "reached" if self.reached else "MISSED"
        return (
            f"{self.what:<58} {self.median:6.2f}  ({low:.2f}-{high:.2f})"
            f"   reach {self.reach:g} {met}, aim {self.aim:g}"
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
