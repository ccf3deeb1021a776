"""One time base for a run: its rows in time, and channels of other rates brought to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.catalogue import FlagLimits
from pipeline.ingest.quality import Fault, Flagged, flag_samples
from pipeline.run import MISSING, NOT_EVALUATED, BoolArray, ChannelArray, FlagArray, FloatArray
from pipeline.running import gap_above_s, usual_step_s

IndexArray = npt.NDArray[np.intp]

_DUE_STEPS = 1.5
"""A channel that is blank for longer than this many of its own steps has lost a sample."""


@dataclass(frozen=True)
class TimeBase:
    """The time base of a run.

    Attributes:
        time_s: float64 seconds from its first sample, strictly increasing; shape (samples,).
        rows: rows of the log that the samples are, None where they are all of them.
        repeats: rows that repeat the time of the row before them.
        max_gap_s: a longer step is a gap in the log.
    """

    time_s: FloatArray
    rows: IndexArray | None
    repeats: IndexArray
    max_gap_s: float


@dataclass(frozen=True)
class Placed:
    """One channel on the time base.

    Attributes:
        values: NaN where missing; shape (samples,).
        flags: uint8; shape (samples,).
        native_hz: rate at which the logger recorded it; 0 where it has fewer than two samples.
        faults: of its sensor, by its own samples.
    """

    values: ChannelArray
    flags: FlagArray
    native_hz: float
    faults: tuple[Fault, ...]


def make_base(seconds: FloatArray) -> TimeBase:
    """Make the time base of the rows of a log: each time once, in the order of the log.

    Args:
        seconds: of the rows, never falling, NaN where a row has no time; shape (rows,).
    """
    readable = np.flatnonzero(~np.isnan(seconds))
    known = seconds[readable] if len(readable) < len(seconds) else seconds
    new = np.diff(known, prepend=-np.inf) > 0.0
    time_s = known[new] if not new.all() else known
    if len(time_s) and time_s[0] != 0.0:
        time_s = time_s - time_s[0]
    rows = readable[new]
    return TimeBase(
        time_s=time_s,
        rows=None if len(rows) == len(seconds) else rows,
        repeats=readable[~new],
        max_gap_s=gap_above_s(time_s),
    )


def on_base(values: ChannelArray, base: TimeBase) -> ChannelArray:
    """Return the samples of a column at the times of the base, NaN where it is blank there.

    Of several rows with one time the first that is not blank counts.

    Args:
        values: of every row of the log; shape (rows,).
        base: of that log.
    """
    if base.rows is None:
        return values
    sampled = values[base.rows]
    spare = base.repeats[~np.isnan(values[base.repeats])]
    at = _sample_of(spare, base.rows)
    wanted = np.isnan(sampled[at])
    # Backwards, so that of several repeats the first is written last.
    sampled[at[wanted][::-1]] = values[spare[wanted]][::-1]
    return sampled


def about_repeats(
    base: TimeBase, columns: Iterable[ChannelArray], line_of: Callable[[int], int]
) -> list[str]:
    """Say how many rows repeat a time, and how many of them contradict the row that was kept.

    Args:
        base: of the log.
        columns: every column of numbers, of every row of the log.
        line_of: row -> its line in the file.
    """
    if base.rows is None or not len(base.repeats):
        return []
    kept = base.rows[_sample_of(base.repeats, base.rows)]
    differs = np.zeros(len(kept), dtype=np.bool_)
    for values in columns:
        before, again = values[kept], values[base.repeats]
        differs |= ~np.isnan(before) & ~np.isnan(again) & (before != again)
    count, different = len(differs), int(np.count_nonzero(differs))
    rows = "1 row repeats" if count == 1 else f"{count:,} rows repeat"
    how = f"{different:,} with other values" if different else "with the same values"
    first = line_of(int(base.repeats[0]))
    return [f"{rows} the time of a row before, {how} (the first in line {first}); left out."]


def about_gaps(base: TimeBase) -> list[str]:
    """Say where the log has gaps: it was cut off there, or its clock jumped."""
    steps = np.diff(base.time_s)
    gaps = np.flatnonzero(steps > base.max_gap_s)
    if not len(gaps):
        return []
    longest = gaps[np.argmax(steps[gaps])]
    where = f"{steps[longest]:.1f} s from {base.time_s[longest]:.1f} s"
    if len(gaps) == 1:
        return [f"The log has a gap, or its clock jumped: {where}; nothing counts there."]
    in_all = f"{len(gaps):,} gaps, or its clock jumped, {steps[gaps].sum():.1f} s in all"
    return [f"The log has {in_all}, the longest {where}; nothing counts there."]


def place(
    values: ChannelArray,
    base: TimeBase,
    limits: FlagLimits | None,
    *,
    turning: BoolArray | None,
    hold: bool,
) -> Placed:
    """Flag a channel as it was recorded, and bring it to the time base of its run.

    A channel with a sample at every time is passed on as it is. A blank where a sample was due is
    missing. One where none was due, because the channel is slower than the base, is interpolated
    between its neighbours, and bad or suspect where one of them is; never across a gap of the
    channel, which is a step of more than 0.5 s and three of its usual steps, and never before its
    first or after its last sample.

    Args:
        values: at the times of the base, NaN where blank; shape (samples,).
        base: of the run.
        limits: of its quality flags; None leaves the samples not evaluated.
        turning: where the engine turns; shape (samples,); None where that is unknown.
        hold: keep the value before instead of interpolating: for what changes in steps.
    """
    blank = np.isnan(values)
    if not blank.any():
        found = _flagged(base.time_s, values, limits, turning)
        return Placed(values, found.flags, rate_hz(base.time_s), found.faults)
    own = np.flatnonzero(~blank)
    own_s, own_values = base.time_s[own], values[own]
    found = _flagged(own_s, own_values, limits, None if turning is None else turning[own])
    flags = np.full(len(values), MISSING, dtype=np.uint8)
    flags[own] = found.flags

    between = np.flatnonzero(blank)
    after = np.cumsum(~blank)[between]
    inside = np.flatnonzero((after > 0) & (after < len(own)))
    before_s, after_s = own_s[after[inside] - 1], own_s[after[inside]]
    bridged = after_s - before_s <= _longest_bridge_s(own, own_s)
    before_s, after_s = before_s[bridged], after_s[bridged]
    between, after = between[inside[bridged]], after[inside[bridged]]
    placed = values.copy()
    placed[between] = own_values[after - 1]
    if not hold:
        share = (base.time_s[between] - before_s) / (after_s - before_s)
        placed[between] += share * (own_values[after] - own_values[after - 1])
    flags[between] = np.maximum(found.flags[after - 1], found.flags[after])
    return Placed(placed, flags, rate_hz(own_s), found.faults)


def _flagged(
    time_s: FloatArray, values: ChannelArray, limits: FlagLimits | None, turning: BoolArray | None
) -> Flagged:
    if limits is None:
        return Flagged(np.full(len(values), NOT_EVALUATED, dtype=np.uint8), ())
    return flag_samples(time_s, values, limits, turning=turning)


def _sample_of(rows: IndexArray, kept: IndexArray) -> IndexArray:
    """Return the sample that each row belongs to: its own, or that of the time it repeats."""
    return np.searchsorted(kept, rows, side="right") - 1


def _longest_bridge_s(own: IndexArray, own_s: FloatArray) -> float:
    """Return the longest step of a channel that is interpolated across.

    Args:
        own: the samples of the base at which the channel has values.
        own_s: their times.
    """
    if len(own) < 2:
        return 0.0
    full_rate = np.median(np.diff(own)) < 2
    return _DUE_STEPS * usual_step_s(own_s) if full_rate else gap_above_s(own_s)


def rate_hz(time_s: FloatArray) -> float:
    """Return the usual rate of samples at these times, 1/s; 0 where there are fewer than two."""
    step_s = usual_step_s(time_s)
    return 1.0 / step_s if step_s > 0.0 else 0.0
