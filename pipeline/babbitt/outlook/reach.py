"""Which part reaches its limit first, and after how many runs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from babbitt.outlook.ahead import MOST_RUNS
from babbitt.outlook.gauges import Gauge, Limit


@dataclass(frozen=True)
class Reach:
    """When a limit will be reached.

    Attributes:
        part: kind of part of schemas/causes.toml.
        positions: where the parts sit; None: the only one, or every one.
        limit: the limit.
        used: share of the limit that is used.
        runs: after how many runs it is reached, in half of the futures; 0: it is; None: not within
            MOST_RUNS.
        low: in the earliest twentieth of the futures; None: as above.
        high: in all but the latest twentieth; None: as above.
    """

    part: str
    positions: tuple[str | None, ...]
    limit: Limit
    used: float
    runs: int | None
    low: int | None
    high: int | None


def first_reach(gauges: Iterable[Gauge]) -> Reach | None:
    """Return the limit that is reached first: in the fewest runs, then the one most used.

    Returns:
        None where there is no limit.
    """
    reaches = [_reach(gauge) for gauge in gauges]
    return min(reaches, key=lambda reach: (_late(reach.runs), -reach.used), default=None)


def passed(gauges: Iterable[Gauge]) -> tuple[Reach, ...]:
    """Return the limits that are reached already, the one most used first."""
    reached = [_reach(gauge) for gauge in gauges if gauge.used >= 1.0]
    return tuple(sorted(reached, key=lambda reach: -reach.used))


def _reach(gauge: Gauge) -> Reach:
    if gauge.used >= 1.0:
        return Reach(gauge.part, gauge.positions, gauge.limit, gauge.used, 0, 0, 0)
    first = np.sort((gauge.ahead < gauge.left).sum(axis=0) + 1)
    places = (round(share * (len(first) - 1)) for share in (0.05, 0.5, 0.95))
    low, middle, high = (_known(int(first[place])) for place in places)
    return Reach(gauge.part, gauge.positions, gauge.limit, gauge.used, middle, low, high)


def _known(runs: int) -> int | None:
    return runs if runs <= MOST_RUNS else None


def _late(runs: int | None) -> int:
    return MOST_RUNS + 1 if runs is None else runs
