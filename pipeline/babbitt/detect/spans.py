"""The one kernel: a sampled excess over a limit becomes spans, with exact times and integrals.

Between two samples every quantity is taken as linear. A span therefore starts and ends at a
crossing of the limit between samples, and integrals over it are exact for that broken line, so a
triangle gives its closed form at any sample rate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from babbitt.model.engine_running import lost_samples, usable_at
from babbitt.model.event import EndedBy
from babbitt.model.run import BoolArray, ChannelArray, FloatArray, IndexArray, steps_above

SampleArray = FloatArray | ChannelArray


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
    long_steps: IndexArray | None = None,
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
        long_steps: sample before each step that may be a gap, ascending; None: looked for.

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
    if long_steps is None:
        long_steps = steps_above(time_s, max_gap_s)
    line = _held_line(time_s, excess, beyond, usable, max_gap_s, long_steps)
    segments = _segments(line)

    # What follows each segment, up to the next one or to a gap: is the signal released there?
    following = np.append(segments.first[1:], len(excess))
    next_gap = np.append(line.gaps, len(excess))[np.searchsorted(line.gaps, segments.until)]
    cut = next_gap < following
    stop = np.where(cut, next_gap + 1, following)
    released = _lowest(line.excess, segments.until + 1, stop) < release

    near = segments.start_s[1:] - segments.end_s[:-1] < merge_gap_s
    joined = ~cut[:-1] & (~released[:-1] | near)
    opens = np.flatnonzero(np.append(True, ~joined))
    duration_s = np.add.reduceat(segments.end_s - segments.start_s, opens)
    keep = (duration_s >= min_duration_s) & (duration_s > 0.0)
    if not keep.any():
        return _NONE

    counts = np.diff(opens, append=len(cut))
    closes = (opens + counts - 1)[keep]
    segments = segments.only(np.repeat(keep, counts))
    firsts = np.cumsum(counts[keep]) - counts[keep]
    samples, sample_starts = segments.samples(line.lost)
    lefts, rights, fractions, piece_starts = segments.pieces(samples, sample_starts)
    return Spans(
        start_s=segments.start_s[firsts],
        end_s=segments.end_s[firsts + counts[keep] - 1],
        duration_s=duration_s[keep],
        ended_by=tuple(_ended_by(released[k], cut[k]) for k in closes),
        samples=samples,
        sample_offsets=sample_starts[firsts],
        lefts=lefts,
        rights=rights,
        fractions=fractions,
        seconds=(fractions[:, 1] - fractions[:, 0]) * (time_s[rights] - time_s[lefts]),
        piece_offsets=piece_starts[firsts],
    )


@dataclass(frozen=True, eq=False)
class _Line:
    """The samples, with those that are lost held at the last usable one before.

    Held, a lost sample changes no state and no minimum, so only crossings and pieces must step
    over it. `gaps` holds the sample before each gap, ascending.
    """

    time_s: FloatArray
    excess: SampleArray
    beyond: BoolArray
    lost: IndexArray
    before: IndexArray
    gaps: IndexArray

    def usable_at(self, index: IndexArray) -> IndexArray:
        """Return the sample itself, or the usable one before it; -1 where there is none."""
        return usable_at(index, self.lost, self.before)


def _held_line(
    time_s: FloatArray,
    excess: SampleArray,
    beyond: BoolArray,
    usable: BoolArray | None,
    max_gap_s: float,
    long_steps: IndexArray,
) -> _Line:
    gaps = long_steps[time_s[long_steps + 1] - time_s[long_steps] > max_gap_s]
    if usable is None or usable.all():
        return _Line(time_s, excess, beyond, _NO_INDEX, _NO_INDEX, gaps)
    lost, before = lost_samples(usable)
    excess = excess.copy()
    excess[lost] = np.where(before >= 0, excess[before], -np.inf)
    beyond[lost] = (before >= 0) & beyond[before]

    # Steps beside lost samples do not count; those across them do, up to the end of the run.
    gaps = gaps[usable[gaps] & usable[gaps + 1]]
    last = np.flatnonzero(np.diff(lost, append=len(time_s) + 1) > 1)
    after = np.minimum(lost[last] + 1, len(time_s) - 1)
    across = time_s[after] - time_s[before[last]] > max_gap_s
    lost_gaps = lost[last][across & (before[last] >= 0)]
    return _Line(time_s, excess, beyond, lost, before, np.sort(np.append(gaps, lost_gaps)))


@dataclass(frozen=True, eq=False)
class _Segments:
    """Unbroken stretches beyond the limit.

    Attributes:
        first: first sample.
        until: last sample, which may be a lost one.
        start_s: where the limit is crossed, or the first sample's time.
        end_s: where the limit is crossed, or the last usable sample's time.
        earlier: usable sample before the crossing.
        later: usable sample after the crossing.
        lead: share of the step from `earlier` to `first` at which the limit is crossed; NaN: that
            step does not count.
        tail: the same of the step to `later`.
    """

    first: IndexArray
    until: IndexArray
    start_s: FloatArray
    end_s: FloatArray
    earlier: IndexArray
    later: IndexArray
    lead: FloatArray
    tail: FloatArray

    def only(self, mask: BoolArray) -> _Segments:
        return _Segments(*(getattr(self, field.name)[mask] for field in fields(self)))

    def samples(self, lost: IndexArray) -> tuple[IndexArray, IndexArray]:
        """Return the usable samples, segment after segment, and where each segment begins."""
        sizes = self.until - self.first + 1
        shifts = np.repeat(self.first - (np.cumsum(sizes) - sizes), sizes)
        samples = np.arange(len(shifts)) + shifts
        if len(lost):
            samples = samples[~np.isin(samples, lost)]
            sizes -= np.searchsorted(lost, self.until, "right") - np.searchsorted(lost, self.first)
        return samples, np.cumsum(sizes) - sizes

    def pieces(
        self, samples: IndexArray, starts: IndexArray
    ) -> tuple[IndexArray, IndexArray, FloatArray, IndexArray]:
        """Return the steps beyond the limit: samples, shares, and where each segment begins."""
        leads, tails = ~np.isnan(self.lead), ~np.isnan(self.tail)
        sizes = np.diff(starts, append=len(samples))
        # Of two corners put in at one place the first is the tail of the segment that ends there.
        corners = np.insert(
            samples,
            np.append((starts + sizes)[tails], starts[leads]),
            np.append(self.later[tails], self.earlier[leads]),
        )
        corner_stops = np.cumsum(sizes + leads + tails)
        corner_starts = np.append(0, corner_stops[:-1])
        stops = corner_stops - np.arange(1, len(starts) + 1)
        piece_starts = np.append(0, stops[:-1])
        fractions = np.tile([0.0, 1.0], (len(corners) - len(starts), 1))
        fractions[piece_starts[leads], 0] = self.lead[leads]
        fractions[stops[tails] - 1, 1] = self.tail[tails]
        lefts, rights = np.delete(corners, corner_stops - 1), np.delete(corners, corner_starts)
        return lefts, rights, fractions, piece_starts


def _segments(line: _Line) -> _Segments:
    changes = line.beyond[1:] != line.beyond[:-1]
    changes[line.gaps[line.gaps < len(changes)]] = True
    starts = np.append(0, np.flatnonzero(changes) + 1)
    stops = np.append(starts[1:], len(line.beyond)) - 1
    inside = line.beyond[starts]
    first, until = starts[inside], stops[inside]
    earlier, last, later = line.usable_at(first - 1), line.usable_at(until), until + 1
    lead = _crossing(line, earlier, first, first - 1)
    tail = _crossing(line, last, later, until)
    return _Segments(
        first=first,
        until=until,
        start_s=_time_at(line, earlier, first, lead, first),
        end_s=_time_at(line, last, later, tail, last),
        earlier=earlier,
        later=later,
        lead=lead,
        tail=tail,
    )


def _crossing(line: _Line, left: IndexArray, right: IndexArray, step: IndexArray) -> FloatArray:
    """Share of the step from left to right at which the excess is zero; NaN: no such step."""
    inside = (left >= 0) & (right < len(line.excess)) & ~np.isin(step, line.gaps)
    a, b = (line.excess[np.where(inside, side, 0)].astype(np.float64) for side in (left, right))
    known = inside & np.isfinite(a) & np.isfinite(b)
    share = np.full(len(left), np.nan)
    share[known] = a[known] / (a[known] - b[known])
    return share


def _time_at(
    line: _Line, left: IndexArray, right: IndexArray, share: FloatArray, beyond: IndexArray
) -> FloatArray:
    """Time of the crossing, or of the sample `beyond` the limit where there is none."""
    at_s = line.time_s[beyond]
    crossed = ~np.isnan(share)
    before_s, after_s = line.time_s[left[crossed]], line.time_s[right[crossed]]
    at_s[crossed] = before_s + share[crossed] * (after_s - before_s)
    return at_s


def _lowest(values: SampleArray, begin: IndexArray, end: IndexArray) -> FloatArray:
    """Lowest of values[begin:end] for ascending, disjoint ranges; infinity for an empty one."""
    lowest = np.full(len(begin), np.inf)
    some = end > begin
    if some.any():
        bounds = np.column_stack((begin[some], end[some])).ravel()
        lowest[some] = np.minimum.reduceat(values[: bounds[-1]], bounds[:-1])[::2]
    return lowest


def _ended_by(released: bool, cut: bool) -> EndedBy:
    if released:
        return "release"
    return "gap" if cut else "end_of_run"


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
