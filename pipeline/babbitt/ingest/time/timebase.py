"""One time base for a run: its rows in time, and channels of other rates brought to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from babbitt.ingest.columns.store import SampleStore
from babbitt.ingest.quality.flags import Fault, Flagged, flag_samples
from babbitt.ingest.time.restart import CLOCK_SET_S
from babbitt.model.channels import FlagLimits
from babbitt.model.engine_running import LEAST_GAP_S, usual_step_s
from babbitt.model.run import (
    MISSING,
    NOT_EVALUATED,
    BoolArray,
    ChannelArray,
    FlagArray,
    FloatArray,
    IndexArray,
)

_DUE_STEPS = 1.5
"""A channel that is blank for longer than this many of its own steps has lost a sample."""

_MOST_STEPS = 10_000

LONGEST_STEP_S = 30.0 * 86_400.0
"""A logger that writes nothing for longer was set meanwhile (common practice, no source)."""


class BaseBuilder:
    """Brings rows to the time base of their run: each time once, in the order of the log.

    Of several rows with one time the first that is not blank counts, column by column. Where the
    clock was set to another month, what follows goes on behind a short gap instead.
    """

    def __init__(self, store: SampleStore, first_s: float | None = None) -> None:
        """Begin with no rows.

        Args:
            store: takes the samples.
            first_s: time of the first row; None: that of the first row that has one.
        """
        self._store = store
        self.first_s = first_s
        self._time_s: FloatArray = np.zeros(0)
        self._columns: dict[int, ChannelArray] = {}
        self._last_row: dict[int, np.float32] = {}
        self._repeats = self._different = self._first_repeat = 0
        self._leaps = self._first_leap = 0
        self._cut_s = 0.0

    def add(
        self,
        seconds: FloatArray,
        columns: Mapping[int, ChannelArray],
        line_of: Callable[[int], int],
    ) -> None:
        """Take the rows of a block.

        Args:
            seconds: never falling, NaN where a row has no time; shape (rows,).
            columns: column -> its values; shape (rows,) each.
            line_of: row -> its line in the file.
        """
        readable = np.flatnonzero(~np.isnan(seconds))
        known = seconds if len(readable) == len(seconds) else seconds[readable]
        if not len(known):
            return
        if self.first_s is None:
            self.first_s = float(known[0])
        away_s = self.first_s + self._cut_s
        known = known - away_s if away_s else known
        before = self._time_s[-1] if len(self._time_s) else known[0] - 1.0
        steps = np.diff(known, prepend=before)
        leaps = steps > LONGEST_STEP_S
        if leaps.any():
            known = known - self._cut(steps, leaps, readable, line_of)
        new = steps > 0.0
        if new.all() and len(known) == len(seconds):
            self._put(known, dict(columns))
            self._last_row = {i: values[-1] for i, values in columns.items()}
            return
        rows, repeats = readable[new], readable[~new]
        kept = np.searchsorted(rows, repeats, side="right") - 1  # -1: the last sample before
        self._tell(rows, repeats, kept, columns, line_of)
        earlier = repeats[kept < 0]
        for i, values in columns.items():
            self._fill_last(i, values[earlier])
        if len(rows):
            later = repeats[kept >= 0]
            sampled = {i: _first_filled(v, rows, later) for i, v in columns.items()}
            self._put(known[new], sampled)
            self._last_row = {i: values[rows[-1]] for i, values in columns.items()}

    def finish(self) -> tuple[str, ...]:
        """Store what is left, and say how many rows repeat a time and how many contradict."""
        self._put(np.zeros(0), {})
        return (*self._about_leaps(), *self._about_repeats())

    def _cut(
        self, steps: FloatArray, leaps: BoolArray, rows: IndexArray, line_of: Callable[[int], int]
    ) -> FloatArray:
        """Return how far each sample comes forward as leaps are cut, and remember them."""
        if not self._leaps:
            self._first_leap = line_of(int(rows[leaps.argmax()]))
        self._leaps += int(np.count_nonzero(leaps))
        by_s: FloatArray = np.cumsum(np.where(leaps, steps - CLOCK_SET_S, 0.0))
        self._cut_s += float(by_s[-1])
        return by_s

    def _about_leaps(self) -> tuple[str, ...]:
        if not self._leaps:
            return ()
        others = f" and {self._leaps - 1:,} times after" if self._leaps > 1 else ""
        said = (
            f"The logger's clock was set while it logged: time leaps ahead in line "
            f"{self._first_leap}{others}, by {self._cut_s / 86_400.0:,.0f} days in all. What "
            f"follows is placed {CLOCK_SET_S:g} s later; check the start of the run."
        )
        return (said,)

    def _about_repeats(self) -> tuple[str, ...]:
        if not self._repeats:
            return ()
        rows = "1 row repeats" if self._repeats == 1 else f"{self._repeats:,} rows repeat"
        different = f"{self._different:,} with other values"
        how = different if self._different else "with the same values"
        first = self._first_repeat
        return (f"{rows} the time of a row before, {how} (the first in line {first}); left out.",)

    def _put(self, time_s: FloatArray, columns: dict[int, ChannelArray]) -> None:
        """Hold these samples, whose last may still be filled, and store those held before."""
        self._store.append(self._time_s, self._columns)
        self._time_s, self._columns = time_s, columns

    def _tell(
        self,
        rows: IndexArray,
        repeats: IndexArray,
        kept: IndexArray,
        columns: Mapping[int, ChannelArray],
        line_of: Callable[[int], int],
    ) -> None:
        """Count the rows that repeat a time, and those that differ from the row that was kept."""
        if not len(repeats):
            return
        if not self._repeats:
            self._first_repeat = line_of(int(repeats[0]))
        differs = np.zeros(len(repeats), dtype=np.bool_)
        for i, values in columns.items():
            before = np.append(values[rows], self._last_row.get(i, np.float32(np.nan)))[kept]
            again = values[repeats]
            differs |= ~np.isnan(before) & ~np.isnan(again) & (before != again)
        self._repeats += len(repeats)
        self._different += int(np.count_nonzero(differs))

    def _fill_last(self, index: int, repeated: ChannelArray) -> None:
        """Give the last sample held the first value of rows that repeat its time, if blank."""
        filled = repeated[~np.isnan(repeated)]
        if len(filled) and np.isnan(self._columns[index][-1]):
            self._columns[index] = np.append(self._columns[index][:-1], filled[0])


def _first_filled(values: ChannelArray, rows: IndexArray, repeats: IndexArray) -> ChannelArray:
    """Return the values at `rows`, blank ones from the rows behind them that repeat their time."""
    sampled = values[rows]
    spare = repeats[~np.isnan(values[repeats])]
    at = np.searchsorted(rows, spare, side="right") - 1
    wanted = np.isnan(sampled[at])
    # Backwards, so that of several repeats the first is written last.
    sampled[at[wanted][::-1]] = values[spare[wanted]][::-1]
    return sampled


@dataclass(frozen=True)
class Pace:
    """How often a channel has samples.

    Attributes:
        step_s: its usual step; 0 where it has fewer than two samples.
        full: it has one at most times of the base.
    """

    step_s: float
    full: bool

    @property
    def rate_hz(self) -> float:
        """Its usual rate; 0 where it has fewer than two samples."""
        return 1.0 / self.step_s if self.step_s > 0.0 else 0.0

    @property
    def gap_s(self) -> float:
        """A longer step is a gap: 0.5 s or three usual steps."""
        return max(LEAST_GAP_S, 3.0 * self.step_s)

    @property
    def bridge_s(self) -> float:
        """The longest step that is interpolated across."""
        return _DUE_STEPS * self.step_s if self.full else self.gap_s


def pace_of(store: SampleStore, column: int | None = None) -> Pace:
    """Return the pace of a column; of the base itself where none is named.

    The usual step is the median of at most some 10,000 steps spread over all.
    """
    samples = store.samples if column is None else sum(len(own) for own, _ in _own(store, column))
    every = max(1, -(-samples // _MOST_STEPS))
    firsts: list[FloatArray] = []
    seconds: list[FloatArray] = []
    rank, neighbours, last = 0, 0, -2
    for own, time_s in _own(store, column):
        neighbours += int(np.count_nonzero(np.diff(own, prepend=last) == 1))
        last = int(own[-1]) if len(own) else last
        # Copied: a view would keep all of the times alive.
        firsts.append(time_s[-rank % every :: every].copy())
        seconds.append(time_s[(1 - rank) % every :: every].copy())
        rank += len(own)
    if samples < 2:
        return Pace(0.0, full=False)
    if every == 1:
        return Pace(usual_step_s(np.concatenate(firsts)), full=2 * neighbours >= samples)
    after = np.concatenate(seconds)
    before = np.concatenate(firsts)[: len(after)]
    return Pace(float(np.median(after - before)), full=2 * neighbours >= samples)


def _own(store: SampleStore, column: int | None) -> Iterator[tuple[IndexArray, FloatArray]]:
    """Yield the samples of the base at which a column has values, and their times."""
    for start, stop in store.pieces():
        time_s = store.time_s(start, stop)
        if column is None:
            yield np.arange(start, stop), time_s
            continue
        own = np.flatnonzero(~np.isnan(store.column(column, start, stop)))
        yield own + start, time_s[own]


def about_gaps(pieces: Iterable[FloatArray], max_gap_s: float) -> list[str]:
    """Say where the log has gaps: it was cut off there, or its clock jumped.

    Args:
        pieces: the times of a run, piece after piece.
        max_gap_s: a longer step is a gap.
    """
    found: list[tuple[float, float]] = []
    last: float | None = None
    for time_s in pieces:
        steps = np.diff(time_s, prepend=time_s[0] if last is None else last)
        begins = time_s - steps
        found += [(float(steps[i]), float(begins[i])) for i in np.flatnonzero(steps > max_gap_s)]
        last = float(time_s[-1])
    if not found:
        return []
    longest_s, at_s = max(found, key=lambda gap: gap[0])
    where = f"{longest_s:.1f} s from {at_s:.1f} s"
    if len(found) == 1:
        return [f"The log has a gap, or its clock jumped: {where}; nothing counts there."]
    total_s = sum(step_s for step_s, _ in found)
    in_all = f"{len(found):,} gaps, or its clock jumped, {total_s:.1f} s in all"
    return [f"The log has {in_all}, the longest {where}; nothing counts there."]


@dataclass(frozen=True)
class Placed:
    """One channel on the time base.

    Attributes:
        values: NaN where missing; shape (samples,).
        flags: uint8; shape (samples,).
        faults: of its sensor, by its own samples.
    """

    values: ChannelArray
    flags: FlagArray
    faults: tuple[Fault, ...]


def place(
    values: ChannelArray,
    time_s: FloatArray,
    pace: Pace,
    limits: FlagLimits | None,
    *,
    turning: BoolArray | None,
    hold: bool,
    speed_rpm: ChannelArray | None = None,
) -> Placed:
    """Flag a channel as it was recorded, and bring it to the time base of its run.

    A channel with a sample at every time is passed on as it is. A blank where a sample was due is
    missing. One where none was due, because the channel is slower than the base, is interpolated
    between its neighbours, and bad or suspect where one of them is; never across a gap of the
    channel, and never before its first or after its last sample.

    Args:
        values: at the times of the base, NaN where blank; shape (samples,).
        time_s: of the base, strictly increasing; shape (samples,).
        pace: of the channel.
        limits: of its quality flags; None leaves the samples not evaluated.
        turning: where the engine turns; shape (samples,); None where that is unknown.
        hold: keep the value before instead of interpolating: for what changes in steps.
        speed_rpm: of the engine, NaN where it is not known; shape (samples,); None: nowhere.
    """
    own = np.flatnonzero(~np.isnan(values))
    if len(own) == len(values):
        found = _flagged(time_s, values, limits, turning, speed_rpm)
        return Placed(values, found.flags, found.faults)
    own_s, own_values = time_s[own], values[own]
    turns = None if turning is None else turning[own]
    speed = None if speed_rpm is None else speed_rpm[own]
    found = _flagged(own_s, own_values, limits, turns, speed)
    placed = np.full(len(values), np.nan, dtype=np.float32)
    flags = np.full(len(values), MISSING, dtype=np.uint8)
    if len(own) > 1:
        bridged = np.diff(own_s) <= pace.bridge_s
        some = slice(own[0], own[-1])
        placed[some] = _bridge(time_s[some], own, own_s, own_values, bridged, hold=hold)
        between = np.maximum(found.flags[1:], found.flags[:-1])
        flags[some] = np.repeat(np.where(bridged, between, np.uint8(MISSING)), np.diff(own))
    placed[own], flags[own] = own_values, found.flags
    return Placed(placed, flags, found.faults)


def _bridge(
    time_s: FloatArray,
    own: IndexArray,
    own_s: FloatArray,
    own_values: ChannelArray,
    bridged: BoolArray,
    *,
    hold: bool,
) -> FloatArray:
    """Return a channel at every time from its first to its last sample, NaN where not bridged.

    Args:
        time_s: those times; shape (times,).
        own: samples of the base at which it has values; shape (own,), at least two.
        own_s: their times.
        own_values: its values there.
        bridged: which of the steps between them are; shape (own - 1,).
        hold: keep the value before instead of interpolating.
    """
    lengths = np.diff(own)
    before = np.where(bridged, own_values[:-1], np.float32(np.nan)).astype(np.float64)
    if hold:
        return np.repeat(before, lengths)
    slope = np.diff(own_values) / np.diff(own_s)
    since_s = time_s - np.repeat(own_s[:-1], lengths)
    since_s *= np.repeat(slope, lengths)
    since_s += np.repeat(before, lengths)
    return since_s


def _flagged(
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits | None,
    turning: BoolArray | None,
    speed_rpm: ChannelArray | None,
) -> Flagged:
    if limits is None:
        return Flagged(np.full(len(values), NOT_EVALUATED, dtype=np.uint8), ())
    return flag_samples(time_s, values, limits, turning=turning, speed_rpm=speed_rpm)
