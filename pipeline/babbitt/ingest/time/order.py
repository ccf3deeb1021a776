"""Rows brought into the order of time: sent twice, out of order, or begun anew by a restart."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from babbitt.ingest.source import Problem, refusal
from babbitt.ingest.time.restart import CLOCK_SET_S, restarted
from babbitt.model.run import BoolArray, ChannelArray, FloatArray, IndexArray

WITHIN_S = 1.0
"""Rows that are late by no more are sorted (common practice, no source)."""

_SAME_SHARE = 0.5
"""Rows at times that were sent before are the same rows if more of their cells agree than this."""


@dataclass(frozen=True)
class Batch:
    """Rows with their times.

    Attributes:
        seconds: NaN where a row has no time; shape (rows,).
        columns: column -> its values; shape (rows,) each.
        line_of: row -> its line in the file.
    """

    seconds: FloatArray
    columns: Mapping[int, ChannelArray]
    line_of: Callable[[int], int]

    def at(self, rows: IndexArray) -> Batch:
        """Return some of the rows, in the order given."""
        line_of = self.line_of
        columns = {i: values[rows] for i, values in self.columns.items()}
        return Batch(self.seconds[rows], columns, lambda row: line_of(int(rows[row])))

    def joined(self, other: Batch) -> Batch:
        """Return the rows of this batch and behind them those of another."""
        count, before, behind = len(self.seconds), self.line_of, other.line_of
        columns = {i: np.concatenate([v, other.columns[i]]) for i, v in self.columns.items()}
        return Batch(
            np.concatenate([self.seconds, other.seconds]),
            columns,
            lambda row: before(row) if row < count else behind(row - count),
        )


class Sequencer:
    """Puts the rows of one log in the order of time, and says what it dropped, sorted or assumed.

    Rows that were sent before are dropped; rows late by up to a second are sorted. Where time goes
    back to where it began, or a header stands before rows whose time goes back, the logger was
    restarted without a clock: what follows is placed `CLOCK_SET_S` later, and nothing is judged
    across the gap.
    """

    def __init__(self, name: str, *, elapsed: bool) -> None:
        """Begin with no rows.

        Args:
            name: of the file, for errors.
            elapsed: its time counts from a start, which no clock dates: it may begin anew anywhere
                before that.
        """
        self._name = name
        self._elapsed = elapsed
        self._began_s = np.nan
        self._shift_s = 0.0
        self._twice = self._first_twice = 0
        self._sorted = self._first_sorted = 0
        self._latest_s = 0.0
        self._restarts: list[int] = []

    def ordered(self, batches: Iterable[tuple[Batch, int | None]]) -> Iterator[Batch]:
        """Yield the rows in the order of time.

        Args:
            batches: rows as they stand, and the line of a header right above them whose distance
                in time to what stands before nobody knows, else None.

        Raises:
            LogRefusedError: time runs backwards, and nothing explains it.
        """
        held: Batch | None = None  # ordered, and passed on once the next cannot reach into it
        for batch, header in batches:
            if self._shift_s:
                batch = Batch(batch.seconds + self._shift_s, batch.columns, batch.line_of)
            steps = _steps(batch.seconds)
            first_s = _first(batch.seconds)
            if np.isnan(first_s):
                continue
            if np.isnan(self._began_s):
                self._began_s = first_s
            if (steps >= 0.0).all() and (held is None or first_s >= held.seconds[-1]):
                if held is not None:
                    yield held
                held = _timed(batch)
                continue
            batch = _timed(batch)
            if held is not None:
                border = len(held.seconds)
                batch = held.joined(batch)
            else:
                border = 0
            held = self._sorted_late(self._forward(batch, border if header is not None else -1))
        if held is not None:
            yield held

    def warnings(self) -> tuple[str, ...]:
        """Say what was dropped, sorted or assumed, once every batch was taken."""
        said: list[str] = []
        if self._twice:
            rows = "1 row was" if self._twice == 1 else f"{self._twice:,} rows were"
            said.append(f"{rows} sent twice (from line {self._first_twice} on); left out.")
        if self._sorted:
            rows = "1 row stood" if self._sorted == 1 else f"{self._sorted:,} rows stood"
            said.append(
                f"{rows} out of order by up to {self._latest_s:.3g} s (the first in line "
                f"{self._first_sorted}); sorted by time."
            )
        return (*said, *map(restarted, self._restarts))

    def _forward(self, batch: Batch, header: int) -> Batch:
        """Drop what was sent before, and let time go on after restarts.

        Args:
            batch: every row of which has a time.
            header: the row above which a header stands, -1 where none does.
        """
        time_s = batch.seconds.copy()
        kept = np.ones(len(time_s), dtype=np.bool_)
        row = 0
        while True:
            back = self._next_back(time_s, kept, row, header)
            if back is None:
                break
            latest_s = float(time_s[:back][kept[:back]].max())
            again = _sent_before(batch, time_s, kept, back, latest_s)
            if again:
                if not self._twice:
                    self._first_twice = batch.line_of(back)
                self._twice += again
                kept[back : back + again] = False
                row = back + again
            elif back == header or self._may_begin(float(time_s[back])):
                shift_s = latest_s + CLOCK_SET_S - float(time_s[back])
                time_s[back:] += shift_s
                self._shift_s += shift_s
                self._began_s = float(time_s[back])
                self._restarts.append(batch.line_of(back))
                row = back + 1
            else:
                raise refusal(
                    self._name, (_backwards(batch.line_of(back), latest_s - time_s[back]),)
                )
        rows = np.flatnonzero(kept)
        moved = Batch(time_s, batch.columns, batch.line_of)
        return moved if len(rows) == len(time_s) else moved.at(rows)

    def _may_begin(self, time_s: float) -> bool:
        early = time_s - self._began_s
        return early <= WITHIN_S and (self._elapsed or early >= -WITHIN_S)

    def _next_back(self, time_s: FloatArray, kept: BoolArray, row: int, header: int) -> int | None:
        """Return the next row from `row` on at which time goes back too far to be sorted."""
        reached = np.maximum.accumulate(np.where(kept, time_s, -np.inf))
        late = np.flatnonzero(kept[1:] & (reached[:-1] - time_s[1:] > WITHIN_S)) + 1
        if 0 < header < len(time_s) and row <= header and time_s[header] < reached[header - 1]:
            late = np.append(late[late < header], header)
        late = late[late >= row]
        return int(late[0]) if len(late) else None

    def _sorted_late(self, batch: Batch) -> Batch:
        time_s = batch.seconds
        late_s = np.maximum.accumulate(time_s) - time_s
        late = np.flatnonzero(late_s > 0.0)
        if not len(late):
            return batch
        alone = late[~np.isin(time_s[late], time_s[late_s <= 0.0])]
        if len(alone):
            if not self._sorted:
                self._first_sorted = batch.line_of(int(alone[0]))
            self._sorted += len(alone)
            self._latest_s = max(self._latest_s, float(late_s[alone].max()))
        return batch.at(np.argsort(time_s, kind="stable"))


def _sent_before(
    batch: Batch, time_s: FloatArray, kept: BoolArray, back: int, latest_s: float
) -> int:
    """Return how many rows from `back` on repeat rows before it, 0 where they are others.

    They end where time goes on past what was reached before, or where the rows end.
    """
    before = np.flatnonzero(kept[:back] & (time_s[:back] == time_s[back]))
    for first in before[::-1]:
        most = min(back - int(first), len(time_s) - back)
        one, two = slice(first, first + most), slice(back, back + most)
        other = np.flatnonzero(time_s[one] != time_s[two])
        count = int(other[0]) if len(other) else most
        goes_on = back + count == len(time_s) or time_s[back + count] >= latest_s
        if goes_on and _same_share(batch, int(first), back, count) > _SAME_SHARE:
            return count
    return 0


def _same_share(batch: Batch, first: int, again: int, count: int) -> float:
    """Return the share of cells that are the same in `count` rows from `first` and `again` on."""
    same = filled = 0
    for values in batch.columns.values():
        one, two = values[first : first + count], values[again : again + count]
        either = ~(np.isnan(one) & np.isnan(two))
        filled += int(np.count_nonzero(either))
        same += int(np.count_nonzero(one[either] == two[either]))
    return same / filled if filled else 1.0


def _steps(seconds: FloatArray) -> FloatArray:
    known = seconds[~np.isnan(seconds)] if np.isnan(seconds).any() else seconds
    return np.diff(known)


def _first(seconds: FloatArray) -> float:
    known = np.flatnonzero(~np.isnan(seconds))
    return float(seconds[known[0]]) if len(known) else np.nan


def _timed(batch: Batch) -> Batch:
    """Return the rows that have a time."""
    known = np.flatnonzero(~np.isnan(batch.seconds))
    return batch if len(known) == len(batch.seconds) else batch.at(known)


def _backwards(line: int, by_s: float) -> Problem:
    return Problem(
        f"time runs backwards in line {line}, by {by_s:g} s, and the rows there were neither sent "
        "before nor begin where the log began: its clock was set; cut the file there and ingest "
        "its parts one by one"
    )
