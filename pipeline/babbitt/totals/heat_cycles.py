"""Heat cycles: rainflow counting of coolant temperature (ASTM E1049)."""

from __future__ import annotations

import numpy as np
import rainflow

from babbitt.model.run import ChannelArray

LEAST_RANGE_K = 40.0
"""Smaller swings are no heat cycle of the engine (common practice, no source)."""

NOISE_K = 3.0
"""Smaller swings are dropped before counting, which changes no count of larger ones."""

BLOCK = 64
"""Samples whose extremes stand for them all where they differ by noise only."""


def heat_cycles(coolant_c: ChannelArray) -> float:
    """Return the heat cycles of one run; half a cycle, such as a warming-up, counts 0.5.

    Each run is counted by itself: an engine that warms up in one run and cools down before the
    next has half a cycle, since what no log shows is not counted.

    Args:
        coolant_c: usable coolant temperatures in the order of time, °C; shape (samples,).
    """
    if not len(coolant_c) or coolant_c.max() - coolant_c.min() < LEAST_RANGE_K:
        return 0.0
    cycles = ranges(swings(coolant_c), NOISE_K)
    return sum((count for range_k, count in cycles if range_k >= LEAST_RANGE_K), 0.0)


def swings(coolant_c: ChannelArray) -> ChannelArray:
    """Return the points between which coolant temperature swings by more than noise.

    Those of one stretch of a run after those of another have the same heat cycles as the run.

    Args:
        coolant_c: usable coolant temperatures in the order of time, °C; shape (samples,).
    """
    return turning_points(_block_extremes(coolant_c, NOISE_K), NOISE_K)


def ranges(values: ChannelArray, noise: float) -> list[tuple[float, float]]:
    """Return (range, count) of each rainflow cycle, count 1 or 0.5, in the order of closing.

    Args:
        values: shape (samples,).
        noise: swings smaller than this are left out where larger ones enclose them; 0 counts all.
    """
    reversals = turning_points(values, noise).tolist()
    closed = [*reversals, *reversals[-1:]]  # of two points alone, rainflow would see only the first
    return [(span, float(count)) for span, _, count, _, _ in rainflow.extract_cycles(closed)]


def turning_points(values: ChannelArray, noise: float) -> ChannelArray:
    """Return the first value, the peaks and valleys in turn, and the last value.

    A swing smaller than `noise` and than both swings beside it is a closed cycle by itself: taking
    it out leaves the count of all others as it was.

    Args:
        values: shape (samples,).
        noise: 0 takes out nothing.
    """
    points = _reversals(values)
    while len(points) > 3:
        swing = np.abs(np.diff(points))
        inner = (swing[1:-1] < noise) & (swing[1:-1] <= swing[:-2]) & (swing[1:-1] <= swing[2:])
        inner[1:] &= ~inner[:-1]
        at = np.flatnonzero(inner) + 1
        if not len(at):
            break
        points = _reversals(np.delete(points, np.concatenate([at, at + 1])))
    return points


def _reversals(values: ChannelArray) -> ChannelArray:
    """Return the first value, those at which the direction turns, and the last."""
    distinct = np.ones(len(values), dtype=np.bool_)
    distinct[1:] = values[1:] != values[:-1]
    points = values[distinct]
    rising = np.diff(points) > 0
    kept = np.ones(len(points), dtype=np.bool_)
    kept[1:-1] = rising[1:] != rising[:-1]
    return points[kept]


def _block_extremes(values: ChannelArray, noise: float) -> ChannelArray:
    """Return the extremes of each block in the order of time, where no block spans `noise`."""
    whole = len(values) // BLOCK * BLOCK
    blocks = values[:whole].reshape(-1, BLOCK)
    low, high = blocks.min(axis=1), blocks.max(axis=1)
    if np.max(high - low, initial=0.0) >= noise:
        return values
    low_first = blocks.argmin(axis=1) < blocks.argmax(axis=1)
    pairs = np.where(low_first, [low, high], [high, low]).T
    return np.concatenate([values[:1], pairs.ravel(), values[whole:], values[-1:]])
