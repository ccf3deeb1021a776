"""What a change did: rates of harm before and after it, compared exactly.

Given how many events there were in all, those after the change are binomial if both rates are one
(the conditional test of two Poisson rates, Przyborowski and Wilenski 1940); the ratio's interval
follows from that of Clopper and Pearson. Events that come in clusters differ more than that allows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from scipy.stats import binomtest

from babbitt.model.kinds import KINDS, Kind

Word = Literal["better", "worse", "cannot tell"]

CERTAINTY = 0.9
"""Of the interval: as of all others that Babbitt states."""


@dataclass(frozen=True)
class Rates:
    """Two rates and their ratio.

    Attributes:
        before: events.
        after: events.
        before_over: laps or hours in which those of before could have been seen.
        after_over: likewise.
        ratio: rate after over rate before; None where there were none before.
        low: of its interval of CERTAINTY.
        high: infinite where there were none before.
        p: of so great a difference if there were none, both sides.
        word: better where the whole interval lies below 1, worse where it lies above.
    """

    before: int
    after: int
    before_over: float
    after_over: float
    ratio: float | None
    low: float
    high: float
    p: float
    word: Word


@dataclass(frozen=True)
class Side:
    """Runs on one side of a change.

    Attributes:
        runs: how many.
        events: by kind.
        over: laps, or watched hours, by kind.
    """

    runs: int
    events: Mapping[Kind, int]
    over: Mapping[Kind, float]


def compare_rates(
    before: int, before_over: float, after: int, after_over: float, certainty: float = CERTAINTY
) -> Rates:
    """Compare two Poisson rates.

    Args:
        before: events.
        before_over: laps or hours they were seen in, above 0.
        after: events.
        after_over: likewise.
        certainty: of the interval.
    """
    if before + after == 0:
        return Rates(0, 0, before_over, after_over, None, 0.0, float("inf"), 1.0, "cannot tell")
    test = binomtest(after, before + after, after_over / (before_over + after_over))
    ends = test.proportion_ci(certainty, method="exact")
    scale = before_over / after_over

    def ratio(share: float) -> float:
        return float("inf") if share >= 1.0 else share / (1.0 - share) * scale

    low, high = ratio(float(ends.low)), ratio(float(ends.high))
    word: Word = "better" if high < 1.0 else "worse" if low > 1.0 else "cannot tell"
    found = None if before == 0 else ratio(after / (before + after))
    return Rates(before, after, before_over, after_over, found, low, high, float(test.pvalue), word)


def effects(before: Side, after: Side) -> dict[Kind, Rates]:
    """Return the rates of each kind of harm that could be seen on both sides of a change."""
    return {
        kind: compare_rates(
            before.events.get(kind, 0),
            before.over[kind],
            after.events.get(kind, 0),
            after.over[kind],
        )
        for kind in KINDS
        if before.over.get(kind, 0.0) > 0.0 and after.over.get(kind, 0.0) > 0.0
    }
