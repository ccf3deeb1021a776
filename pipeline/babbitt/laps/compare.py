"""Oil pressure in the corners of two runs at one circuit, at like engine speed and oil temperature.

Each pass of a corner in the later run is held against what the earlier run had in that corner in
the same bins of engine speed and oil temperature; passes, not samples, are what is counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import t as student

from babbitt.model.layout import Layout
from babbitt.model.run import FloatArray, IndexArray, Run

CHANNELS = ("rpm", "oil_pressure", "oil_temperature")
"""Channels of a run that are read."""

RPM_BIN = 250.0
OIL_C_BIN = 5.0
"""Within these, engine speed and oil temperature are like (our own choice)."""

CERTAINTY = 0.9
_LEAST_SAMPLES = 3

Word = Literal["lower", "higher", "cannot tell"]


@dataclass(frozen=True, eq=False)
class CornerSamples:
    """Samples of a run within corners of its whole laps; shape (samples,) each.

    Attributes:
        corner: number of the corner.
        passed: which pass of it, by the place in the run's passes.
        like: number of the bin of engine speed and oil temperature.
        kpa: oil pressure.
    """

    corner: IndexArray
    passed: IndexArray
    like: IndexArray
    kpa: FloatArray


@dataclass(frozen=True)
class CornerChange:
    """Oil pressure in a corner, later against earlier.

    Attributes:
        corner: its number.
        before_kpa: mean of the earlier run, where both were alike.
        after_kpa: of the later.
        change_kpa: mean of the later's passes against the earlier run; negative: lower.
        low_kpa: of its interval of CERTAINTY; None with fewer than two passes on a side.
        high_kpa: likewise.
        before: passes.
        after: passes.
        word: lower or higher where the whole interval says so.
    """

    corner: int
    before_kpa: float
    after_kpa: float
    change_kpa: float
    low_kpa: float | None
    high_kpa: float | None
    before: int
    after: int
    word: Word


def corner_samples(parts: Iterable[Run], layout: Layout) -> CornerSamples | None:
    """Return the samples of a run in the corners of its whole laps; None without oil pressure.

    Args:
        parts: of the run, in order, with CHANNELS.
        layout: of the run.
    """
    whole = {lap.number for lap in layout.whole_laps}
    passes = [each for each in layout.passes if each.lap in whole]
    starts = np.array([each.start_s for each in passes])
    ends = np.array([each.end_s for each in passes])
    numbers = np.array([each.corner for each in passes], dtype=np.intp)
    kept: list[tuple[IndexArray, IndexArray, IndexArray, FloatArray]] = []
    for part in parts:
        if not passes or not {"rpm", "oil_pressure"} <= part.signals.keys():
            return None
        rpm, oil = part.signals["rpm"], part.signals["oil_pressure"]
        warm = part.signals.get("oil_temperature")
        usable = rpm.usable() & oil.usable()
        degrees = np.zeros(part.samples)
        if warm is not None:
            usable &= warm.usable()
            degrees = np.nan_to_num(warm.values.astype(np.float64))
        at = np.searchsorted(starts, part.time_s, side="right") - 1
        inside = usable & (at >= 0)
        inside &= part.time_s <= ends[at]
        like = np.round(rpm.values[inside] / RPM_BIN) * 1000 + np.round(degrees[inside] / OIL_C_BIN)
        kept.append(
            (
                numbers[at[inside]],
                at[inside],
                like.astype(np.intp),
                oil.values[inside].astype(np.float64),
            )
        )
    if not kept:
        return None
    return CornerSamples(*(np.concatenate(each) for each in zip(*kept, strict=True)))


def compare_corners(earlier: CornerSamples, later: CornerSamples) -> tuple[CornerChange, ...]:
    """Compare two runs corner by corner, where they were alike in speed and temperature.

    Args:
        earlier: of the run that is held against.
        later: of the run that is looked at.
    """
    found = []
    for corner in np.intersect1d(earlier.corner, later.corner):
        here, there = earlier.corner == corner, later.corner == corner
        shared = np.intersect1d(earlier.like[here], later.like[there])
        here &= np.isin(earlier.like, shared)
        there &= np.isin(later.like, shared)
        if np.count_nonzero(here) < _LEAST_SAMPLES or np.count_nonzero(there) < _LEAST_SAMPLES:
            continue
        row = np.searchsorted(shared, earlier.like[here])
        usual = np.bincount(row, earlier.kpa[here]) / np.bincount(row)
        before = _by_pass(earlier.passed[here], earlier.kpa[here] - usual[row])
        off = later.kpa[there] - usual[np.searchsorted(shared, later.like[there])]
        after = _by_pass(later.passed[there], off)
        found.append(
            _change(
                int(corner),
                float(np.mean(later.kpa[there] - off)),
                float(np.mean(later.kpa[there])),
                before,
                after,
            )
        )
    return tuple(found)


def _by_pass(passed: IndexArray, off_kpa: FloatArray) -> FloatArray:
    """Return the mean of each pass."""
    _, row = np.unique(passed, return_inverse=True)
    means: FloatArray = np.bincount(row, off_kpa) / np.bincount(row)
    return means


def _change(
    corner: int, before_kpa: float, after_kpa: float, before: FloatArray, after: FloatArray
) -> CornerChange:
    change = float(after.mean() - before.mean())
    low = high = None
    word: Word = "cannot tell"
    if min(len(before), len(after)) >= 2:
        # Welch's interval of the difference of two means.
        parts = before.var(ddof=1) / len(before), after.var(ddof=1) / len(after)
        spread = max(sum(parts), 1e-12)
        freedom = spread**2 / max(
            parts[0] ** 2 / (len(before) - 1) + parts[1] ** 2 / (len(after) - 1), 1e-24
        )
        half = float(student.ppf(0.5 + 0.5 * CERTAINTY, max(freedom, 1.0)) * np.sqrt(spread))
        low, high = change - half, change + half
        word = "lower" if high < 0.0 else "higher" if low > 0.0 else "cannot tell"
    return CornerChange(
        corner, before_kpa, after_kpa, change, low, high, len(before), len(after), word
    )
