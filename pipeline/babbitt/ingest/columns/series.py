"""Channels that each bring a time column of their own, merged into rows of one time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from babbitt.ingest.source import Problem, refusal
from babbitt.model.run import ChannelArray, FloatArray

NumberArray = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Rows:
    """Rows of one time.

    Attributes:
        time: of each, rising from each to the next; shape (rows,).
        numbers: column -> its values, NaN where it has none at that time; shape (rows,).
    """

    time: FloatArray
    numbers: Mapping[int, ChannelArray]


@dataclass
class _Series:
    """What was read of the channels of one time column, and not passed on yet.

    Attributes:
        time: rising; shape (rows,).
        numbers: column -> values; shape (rows,).
        last: the last time read, passed on or not.
        ended: no row of the last block had a time.
    """

    time: FloatArray
    numbers: dict[int, ChannelArray]
    last: float = -np.inf
    ended: bool = False


def merge_series(
    blocks: Iterable[Mapping[int, NumberArray]],
    clocks: Mapping[int, int],
    name: str,
) -> Iterator[Rows]:
    """Merge channels that go by time columns of their own.

    A row comes out for every time at which any channel has a sample. Of several samples of a
    channel at one time the first counts. What a fast channel is behind the others is held back, so
    that memory grows with the slow ones only.

    Args:
        blocks: column -> its values in a block of rows, NaN where blank, the time columns too.
        clocks: column of a channel -> its time column.
        name: of the file, for errors.

    Raises:
        LogRefusedError: the time in a column runs backwards.
    """
    series = {
        clock: _Series(
            np.empty(0),
            {i: np.empty(0, dtype=np.float32) for i, by in clocks.items() if by == clock},
        )
        for clock in dict.fromkeys(clocks.values())
    }
    passed_on = -np.inf
    for block in blocks:
        for clock, one in series.items():
            _append(one, clock, block, passed_on, name)
        running = [one.last for one in series.values() if not one.ended]
        horizon = min(running) if running else np.inf
        if horizon > passed_on:
            yield _merged(series.values(), horizon)
            passed_on = horizon
    if any(len(one.time) for one in series.values()):
        yield _merged(series.values(), np.inf)


def _append(
    one: _Series, clock: int, block: Mapping[int, NumberArray], passed_on: float, name: str
) -> None:
    time = block[clock].astype(np.float64)
    known = ~np.isnan(time)
    one.ended = not known.any()
    if one.ended:
        return
    time = time[known]
    steps = np.diff(time, prepend=one.last)
    if (steps < 0.0).any() or time[0] < passed_on:
        sentence = (
            f"time runs backwards in column {clock + 1}, which is that of a channel of its own: "
            "export the log again"
        )
        raise refusal(name, (Problem(sentence),))
    new = steps > 0.0
    one.last = time[-1]
    one.time = np.concatenate([one.time, time[new]])
    for i, values in one.numbers.items():
        one.numbers[i] = np.concatenate([values, block[i][known][new].astype(np.float32)])


def _merged(series: Iterable[_Series], horizon: float) -> Rows:
    """Take the rows up to and with a time off the series."""
    parts = [(one, int(np.searchsorted(one.time, horizon, side="right"))) for one in series]
    time = np.unique(np.concatenate([one.time[:count] for one, count in parts]))
    numbers: dict[int, ChannelArray] = {}
    for one, count in parts:
        at = np.searchsorted(time, one.time[:count])
        for i, values in one.numbers.items():
            numbers[i] = np.full(len(time), np.nan, dtype=np.float32)
            numbers[i][at] = values[:count]
            one.numbers[i] = values[count:]
        one.time = one.time[count:]
    return Rows(time, dict(sorted(numbers.items())))
