"""The one kernel: a sampled excess over a limit becomes spans, with exact times and integrals.

Between two samples every quantity is taken as linear. A span therefore starts and ends at a
crossing of the limit between samples, and integrals over it are exact for that broken line, so a
triangle gives its closed form at any sample rate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from pipeline.event import EndedBy
from pipeline.run import BoolArray, ChannelArray, FloatArray

IndexArray = npt.NDArray[np.intp]
SampleArray = FloatArray | ChannelArray
Value = TypeVar("Value", bound=np.generic)


@dataclass(frozen=True, eq=False)
class Spans:
    """Spans beyond a limit, in order; n may be 0. Indices are into the arrays searched.

    Attributes:
        start_s: first crossing of the limit; shape (n,).
        end_s: last crossing of the limit; shape (n,).
        duration_s: seconds beyond the limit, at most end_s - start_s; shape (n,).
        ended_by: what ended each span; length n.
        samples: index of every sample beyond the limit, span after span; shape (m,).
        sample_offsets: where in `samples` each span begins; shape (n,).
        lefts: sample before each piece of line beyond the limit, span after span; shape (k,).
        rights: sample after it; shape (k,).
        fractions: share of the step from left to right at which each piece begins and ends;
            shape (k, 2).
        seconds: how long each piece lasts; shape (k,).
        piece_offsets: where in the pieces each span begins; shape (n,).
    """

    start_s: FloatArray
    end_s: FloatArray
    duration_s: FloatArray
    ended_by: tuple[EndedBy, ...]
    samples: IndexArray
    sample_offsets: IndexArray
    lefts: IndexArray
    rights: IndexArray
    fractions: FloatArray
    seconds: FloatArray
    piece_offsets: IndexArray

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def openings(self) -> IndexArray:
        """Index of the first sample of each span; shape (n,)."""
        return self.samples[self.sample_offsets]

    def peaks(self, values: SampleArray) -> IndexArray:
        """Index of the highest of `values` beyond the limit, the first of equals; shape (n,)."""
        if not len(self):
            return self.samples
        inside = values[self.samples]
        highest = np.maximum.reduceat(inside, self.sample_offsets)
        counts = np.diff(self.sample_offsets, append=len(inside))
        where = np.flatnonzero(inside == np.repeat(highest, counts))
        return self.samples[where[np.searchsorted(where, self.sample_offsets)]]

    def integrate(
        self, weight: Callable[..., FloatArray], *channels: SampleArray, degree: int
    ) -> FloatArray:
        """Integrate `weight` of the channels over the time beyond the limit.

        Args:
            weight: takes one float64 array a channel, and returns their weight, elementwise.
            channels: sampled quantities; shape (samples,) each.
            degree: of the polynomial in the channels that `weight` is, or is close to; up to it
                the integral is exact (Gauss-Legendre quadrature on each piece of line).

        Returns:
            weight x s; shape (n,).
        """
        if not len(self):
            return np.zeros(0)
        nodes, shares = np.polynomial.legendre.leggauss(degree // 2 + 1)
        begin, end = self.fractions.T[:, :, np.newaxis]
        at = begin + (end - begin) * (nodes + 1.0) / 2.0
        lines = [
            channel[self.lefts, np.newaxis] * (1.0 - at) + channel[self.rights, np.newaxis] * at
            for channel in channels
        ]
        areas = weight(*lines) @ (shares / 2.0) * self.seconds
        return np.add.reduceat(areas, self.piece_offsets)


def find_spans(
    time_s: FloatArray,
    excess: SampleArray,
    *,
    release: float,
    merge_gap_s: float,
    min_duration_s: float,
    max_gap_s: float,
    usable: BoolArray | None = None,
) -> Spans:
    """Find the spans in which a signal is beyond its limit.

    A span opens where the excess rises above zero and is over once it falls below `release`, at a
    gap, or with the run. It ends at its last crossing of zero before that; a span still beyond the
    limit at a gap or at the end of the run ends at its last sample. Dips between zero and
    `release` do not split it, but only what lies beyond the limit counts.

    Args:
        time_s: strictly increasing; shape (samples,).
        excess: signal beyond its limit, in any unit; no NaN where usable. Minus infinity: not
            judged; a span next to it starts or ends at its own sample, without interpolation.
        release: excess below which a span is over; not above 0.
        merge_gap_s: spans that follow one another sooner are one, unless a gap lies between.
        min_duration_s: spans with less time beyond the limit are dropped, as are those with none.
        max_gap_s: a longer step between usable samples is a gap, across which nothing is known.
        usable: samples to look at; None: all. The others are passed over as if not recorded.

    Raises:
        ValueError: `release` lies above the limit.
    """
    if release > 0.0:
        raise ValueError("the release level must not lie beyond the limit")
    beyond = excess > 0.0
    if usable is not None:
        beyond &= usable
    if not beyond.any():
        return _NONE
    last_s = float(time_s[-1])
    lost: IndexArray = _NO_INDEX if usable is None else np.flatnonzero(~usable)
    if len(lost):
        time_s, excess = _without(lost, time_s), _without(lost, excess)
        beyond = _without(lost, beyond)

    gaps = np.flatnonzero(np.diff(time_s) > max_gap_s)
    segments = _segments(time_s, excess, beyond, gaps)
    first, last = segments.first, segments.last

    # What follows each segment, up to the next one or to a gap: is the signal released there?
    following = np.append(first[1:], len(excess))
    next_gap = np.append(gaps, len(excess))[np.searchsorted(gaps, last)]
    cut = next_gap < following
    released = _lowest(excess, last + 1, np.where(cut, next_gap + 1, following)) < release

    near = segments.start_s[1:] - segments.end_s[:-1] < merge_gap_s
    joined = ~cut[:-1] & (~released[:-1] | near)
    opens = np.flatnonzero(np.append(True, ~joined))
    duration_s = np.add.reduceat(segments.end_s - segments.start_s, opens)
    keep = (duration_s >= min_duration_s) & (duration_s > 0.0)
    if not keep.any():
        return _NONE

    closes = np.append(opens[1:], len(first)) - 1
    # A sensor lost for longer than a gap before the log ends is lost at a gap.
    to_the_end = ~cut & (last_s - time_s[-1] <= max_gap_s)
    ended_by = tuple(_ended_by(released[k], to_the_end[k]) for k in closes[keep])
    counts = closes - opens + 1
    segments = segments.only(np.repeat(keep, counts))
    offsets = np.cumsum(counts[keep]) - counts[keep]
    samples = _ranges(segments.first, segments.last + 1)
    sizes = segments.last - segments.first + 1
    pieces, fractions, piece_starts = segments.pieces()
    rights = pieces + 1
    seconds = (fractions[:, 1] - fractions[:, 0]) * (time_s[rights] - time_s[pieces])
    if len(lost):
        samples, pieces, rights = (_with(lost, indices) for indices in (samples, pieces, rights))
    return Spans(
        start_s=segments.start_s[offsets],
        end_s=segments.end_s[offsets + counts[keep] - 1],
        duration_s=duration_s[keep],
        ended_by=ended_by,
        samples=samples,
        sample_offsets=(np.cumsum(sizes) - sizes)[offsets],
        lefts=pieces,
        rights=rights,
        fractions=fractions,
        seconds=seconds,
        piece_offsets=piece_starts[offsets],
    )


@dataclass(frozen=True, eq=False)
class _Segments:
    """Unbroken stretches beyond the limit, by their samples and by their crossings.

    `lead` and `tail` are the shares of the step before the first and after the last sample at
    which the limit is crossed; NaN where that step does not count.
    """

    first: IndexArray
    last: IndexArray
    start_s: FloatArray
    end_s: FloatArray
    lead: FloatArray
    tail: FloatArray

    def only(self, mask: BoolArray) -> _Segments:
        return _Segments(
            self.first[mask],
            self.last[mask],
            self.start_s[mask],
            self.end_s[mask],
            self.lead[mask],
            self.tail[mask],
        )

    def pieces(self) -> tuple[IndexArray, FloatArray, IndexArray]:
        """Return the steps that lie beyond the limit: sample before, shares, offset a segment."""
        leads, tails = ~np.isnan(self.lead), ~np.isnan(self.tail)
        begin, end = self.first - leads, self.last + tails
        steps = _ranges(begin, end)
        ends = np.cumsum(end - begin)
        starts = ends - (end - begin)
        fractions = np.tile([0.0, 1.0], (len(steps), 1))
        fractions[starts[leads], 0] = self.lead[leads]
        fractions[ends[tails] - 1, 1] = self.tail[tails]
        return steps, fractions, starts


def _segments(
    time_s: FloatArray, excess: SampleArray, beyond: BoolArray, gaps: IndexArray
) -> _Segments:
    changes = beyond[1:] != beyond[:-1]
    changes[gaps] = True
    starts = np.append(0, np.flatnonzero(changes) + 1)
    stops = np.append(starts[1:], len(beyond)) - 1
    first, last = starts[beyond[starts]], stops[beyond[starts]]
    lead = _crossing(excess, first - 1, first, gaps)
    tail = _crossing(excess, last, last + 1, gaps)
    return _Segments(
        first,
        last,
        np.where(np.isnan(lead), time_s[first], _between(time_s, first - 1, lead)),
        np.where(np.isnan(tail), time_s[last], _between(time_s, last, tail)),
        lead,
        tail,
    )


def _crossing(
    excess: SampleArray, left: IndexArray, right: IndexArray, gaps: IndexArray
) -> FloatArray:
    """Share of the step from left to right at which the excess is zero; NaN: no such step."""
    inside = (left >= 0) & (right < len(excess))
    a = excess[np.where(inside, left, 0)].astype(np.float64)
    b = excess[np.where(inside, right, 0)].astype(np.float64)
    known = inside & np.isfinite(a) & np.isfinite(b) & ~np.isin(left, gaps)
    share = np.full(len(left), np.nan)
    share[known] = a[known] / (a[known] - b[known])
    return share


def _between(time_s: FloatArray, left: IndexArray, share: FloatArray) -> FloatArray:
    right = np.minimum(left + 1, len(time_s) - 1)
    return time_s[left] + share * (time_s[right] - time_s[left])


def _without(lost: IndexArray, values: npt.NDArray[Value]) -> npt.NDArray[Value]:
    """Drop the values at `lost`: as slices, which for a few lost ones is the fastest by far."""
    bounds = np.concatenate(([-1], lost, [len(values)]))
    pairs = zip(bounds[:-1] + 1, bounds[1:], strict=True)
    return np.concatenate([values[start:stop] for start, stop in pairs if start < stop])


def _with(lost: IndexArray, indices: IndexArray) -> IndexArray:
    """Turn indices into values without the lost ones into indices into all of them."""
    before = np.searchsorted(lost - np.arange(len(lost)), indices, side="right")
    whole: IndexArray = indices + before
    return whole


def _lowest(values: SampleArray, begin: IndexArray, end: IndexArray) -> FloatArray:
    """Lowest of values[begin:end] for ascending, disjoint ranges; infinity for an empty one."""
    lowest = np.full(len(begin), np.inf)
    some = end > begin
    if some.any():
        bounds = np.column_stack((begin[some], end[some])).ravel()
        lowest[some] = np.minimum.reduceat(values[: bounds[-1]], bounds[:-1])[::2]
    return lowest


def _ranges(begin: IndexArray, end: IndexArray) -> IndexArray:
    """Concatenate the ranges begin..end-1."""
    sizes = end - begin
    shifts = np.repeat(begin - (np.cumsum(sizes) - sizes), sizes)
    indices: IndexArray = np.arange(len(shifts)) + shifts
    return indices


def _ended_by(released: bool, to_the_end: bool) -> EndedBy:
    if released:
        return "release"
    return "end_of_run" if to_the_end else "gap"


_NO_INDEX: IndexArray = np.zeros(0, dtype=np.intp)
_NONE = Spans(
    start_s=np.zeros(0),
    end_s=np.zeros(0),
    duration_s=np.zeros(0),
    ended_by=(),
    samples=_NO_INDEX,
    sample_offsets=_NO_INDEX,
    lefts=_NO_INDEX,
    rights=_NO_INDEX,
    fractions=np.zeros((0, 2)),
    seconds=np.zeros(0),
    piece_offsets=_NO_INDEX,
)
