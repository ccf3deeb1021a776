"""A pressure that reads nothing while the engine turns: the oil is lost, or its sensor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from babbitt.ingest.quality.dropout import leap_in, leap_out
from babbitt.model.channels import FlagLimits
from babbitt.model.engine_running import stretches
from babbitt.model.run import (
    BAD,
    GOOD,
    SUSPECT,
    BoolArray,
    ChannelArray,
    FlagArray,
    FloatArray,
    IndexArray,
)

RUNS_ON_S = 60.0
"""No engine turns for longer without oil and comes to no harm (common practice, no source)."""

TOO_BRIEF_S = 1.0
"""Pressure takes about as long to come up, and an engine to stop (common practice, no source)."""

HOLE_S = 2.0
"""No engine stops and starts again within less: engine speed was lost (our own choice)."""


@dataclass(frozen=True)
class Lost:
    """What is made of the stretches in which a channel reads nothing.

    Attributes:
        flags: BAD where the sensor was unplugged, SUSPECT where it may have been, GOOD elsewhere;
            shape (samples,).
        doubts: first and last sample of each stretch that may be either, and what speaks for which.
    """

    flags: FlagArray
    doubts: tuple[tuple[int, int, str], ...]


def lost_or_unplugged(
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits,
    *,
    max_gap_s: float = np.inf,
    turning: BoolArray | None = None,
) -> Lost:
    """Tell a loss of pressure from an unplugged sensor where either reads nothing.

    Pressure falls and comes back along a slope, a plug within one or two samples (`leap_in`). A
    stretch that leaps at both ends was unplugged. So was one whose other end was not seen, if it
    leapt faster than the bad rate, which no oil does; and one that read nothing for as long as the
    engine turned, if that was more than RUNS_ON_S. One that slopes at the ends seen is a loss,
    unless the engine turned on for longer than that. Where the ends speak against each other, or
    the samples lie too far apart to tell, it may be either: such samples are judged, but suspect.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: none missing; shape (samples,).
        limits: of a channel with `nothing`.
        max_gap_s: a longer step is a gap.
        turning: where the engine turns; None: unknown, so both leaps are needed.
    """
    flags = np.full(len(values), GOOD, dtype=np.uint8)
    low, high = limits.nothing or (np.inf, -np.inf)
    nothing = (values >= low) & (values <= high)
    if not nothing.any() or len(values) < 3:
        return Lost(flags, ())
    turns = np.ones(len(values), np.bool_) if turning is None else _without_holes(time_s, turning)
    pieces = _pieces(time_s, values, nothing, turns, limits, max_gap_s)
    unplugged = pieces.fell & pieces.rose
    doubts: list[tuple[int, int, str]] = []
    if turning is not None:
        never_up = ~pieces.opened & ~pieces.closed & (pieces.turned_s >= RUNS_ON_S)
        one_sided = pieces.too_fast & ~(pieces.opened & pieces.closed)
        unplugged |= pieces.lasted & (one_sided | never_up)
        doubtful = [
            _doubt(pieces, int(i), limits) for i in np.flatnonzero(pieces.lasted & ~unplugged)
        ]
        doubts = [doubt for doubt in doubtful if doubt is not None]
    for first, last, _ in doubts:
        flags[first : last + 1] = SUSPECT
    for begin, end in np.column_stack([pieces.begin, pieces.end])[unplugged]:
        flags[begin : end + 1] = BAD
    return Lost(flags, tuple(doubts))


@dataclass(frozen=True)
class _Pieces:
    """Stretches of nothing, cut at gaps, starts and stops of the engine; shape (pieces,) each.

    Attributes:
        first: first sample.
        last: last sample.
        begin: first sample that an unplugged sensor spoils.
        end: last sample that it spoils.
        opened: the fall was recorded, with the engine in the same state.
        closed: the return was.
        fell: a recorded fall was a leap.
        rose: a recorded return was a leap.
        too_fast: one of these leaps was faster than the bad rate.
        turned_s: seconds for which the engine turned.
        lasted: it turned, and not only while it was started or stopped.
    """

    first: IndexArray
    last: IndexArray
    begin: IndexArray
    end: IndexArray
    opened: BoolArray
    closed: BoolArray
    fell: BoolArray
    rose: BoolArray
    too_fast: BoolArray
    turned_s: FloatArray
    lasted: BoolArray


def _pieces(
    time_s: FloatArray,
    values: ChannelArray,
    nothing: BoolArray,
    turns: BoolArray,
    limits: FlagLimits,
    max_gap_s: float,
) -> _Pieces:
    edge = nothing[1:] != nothing[:-1]
    edge |= turns[1:] != turns[:-1]
    edge |= np.diff(time_s) > max_gap_s
    first = np.concatenate([[0], np.flatnonzero(edge) + 1])
    last = np.append(first[1:] - 1, len(nothing) - 1)
    first, last = first[nothing[first]], last[nothing[first]]

    before, after = np.maximum(first - 1, 0), np.minimum(last + 1, len(nothing) - 1)
    opened = (time_s[first] - time_s[before] <= max_gap_s) & (first > 0)
    closed = (time_s[after] - time_s[last] <= max_gap_s) & (last < len(nothing) - 1)
    starts, stops = turns[before] != turns[first], turns[after] != turns[last]
    opened &= ~starts
    closed &= ~stops

    into, begin = leap_in(time_s, values, first, limits)
    out, end = leap_out(time_s, values, last, limits)
    fell, rose = opened & (into < 0), closed & (out > 0)
    begin, end = np.where(fell, begin, first), np.where(rose, end, last)
    too_fast = fell & _too_fast(time_s, values, begin - 1, first, limits)
    too_fast |= rose & _too_fast(time_s, values, last, np.minimum(end + 1, len(values) - 1), limits)
    turned_s = np.where(turns[first], time_s[last] - time_s[first], 0.0)
    return _Pieces(
        first=first,
        last=last,
        begin=begin,
        end=end,
        opened=opened,
        closed=closed,
        fell=fell,
        rose=rose,
        too_fast=too_fast,
        turned_s=turned_s,
        lasted=turns[first] & ((turned_s >= TOO_BRIEF_S) | ~(starts | stops)),
    )


def _too_fast(
    time_s: FloatArray, values: ChannelArray, at: IndexArray, to: IndexArray, limits: FlagLimits
) -> BoolArray:
    """Tell which changes are faster than the bad rate."""
    height, seconds = np.abs(values[to] - values[at]), np.abs(time_s[to] - time_s[at])
    fast: BoolArray = height > limits.rate_per_s[1] * seconds
    return fast


def _doubt(pieces: _Pieces, i: int, limits: FlagLimits) -> tuple[int, int, str] | None:
    """Return a piece that may be a loss of pressure or of its sensor, and why; None: a loss."""
    opened, closed, turned_s = pieces.opened[i], pieces.closed[i], pieces.turned_s[i]
    if pieces.fell[i]:
        after = "came back as oil does" if closed else "was not seen to come back"
        why = f"it fell faster than oil does, but {after}"
    elif pieces.rose[i]:
        before = "fell as oil does" if opened else "had read nothing from the start"
        why = f"it {before}, but came back faster than oil does"
    elif turned_s >= RUNS_ON_S:
        why = f"the engine turned on for {turned_s:.0f} s, which it would hardly do without oil"
    elif not opened and not closed and turned_s >= limits.flat_fail_s:
        why = "it read nothing for as long as the engine turned"
    else:
        return None
    return int(pieces.first[i]), int(pieces.last[i]), why


def _without_holes(time_s: FloatArray, turning: BoolArray) -> BoolArray:
    """Fill the stretches of False that are too short for a stop and a start."""
    filled = turning.copy()
    first, last = stretches(~turning)
    inner = (first > 0) & (last < len(turning) - 1)
    first, last = first[inner], last[inner]
    for a, b in np.column_stack([first, last])[time_s[last + 1] - time_s[first - 1] < HOLE_S]:
        filled[a : b + 1] = True
    return filled
