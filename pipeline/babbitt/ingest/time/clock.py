"""The time column: seconds row by row, however the logger writes its time, block after block."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from babbitt.errors import LogRefusedError, Remedy
from babbitt.ingest.columns.channels import Column
from babbitt.ingest.source import Instructions, Problem, refusal
from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.headers import fold
from babbitt.ingest.text.numerals import read_numbers
from babbitt.ingest.time.dates import CLOCK, YEARS, ZONE, DayOrder, read_dates, read_moment
from babbitt.ingest.time.restart import CLOCK_SET_S, restarted
from babbitt.ingest.time.stamps import by_code, clock_s, first_cells, joined, offset_s, order_of
from babbitt.ingest.time.timing import ROW_NUMBERS
from babbitt.model.run import FloatArray
from babbitt.model.units import canonical, units_of

UNREADABLE_SHARE = 0.01
"""More rows than this without a readable time, and a log is refused."""

LineOf = Callable[[int], int]
"""Row of a block -> its line in the file."""

_EPOCH = date(1970, 1, 1)
_DAY_US = 86_400_000_000
_EARLIEST_US, _LATEST_US = (
    (date(year, 1, 1) - _EPOCH).days * _DAY_US for year in (YEARS.start, YEARS.stop)
)
_DAY_S = 86_400.0
_EPOCH_UNITS = ("s", "ms", "µs", "ns")
_EPOCH_S = tuple((date(year, 1, 1) - _EPOCH).days * _DAY_S for year in (2000, 2100))
"""Numbers between these, in one of the units, count from 1970 on: nothing has run for so long."""
_HALF_DAY_S = 43_200.0
_SHORTEST_STEP_S, _AMBIGUOUS_STEP = 0.0005, 1.0
"""A step between these is seconds: as milliseconds it would be a logger of more than 1 kHz. A
longer one may be a slow logger in seconds or a usual one in milliseconds."""

_CHANGE_SLACK_S = 60.0
"""The step at a change of daylight saving is the change and the usual step together."""

_LEAST_CHANGE_S = 1200.0
"""No zone changes its clocks by less (tz database: the least since 1970 are 20 and 30 minutes)."""

_DATED = rf"^(?P<date>.+?)[T ,]+{CLOCK} *(?P<zone>{ZONE})?$"
_UNDATED = rf"^{CLOCK} *(?P<zone>{ZONE})?$"


@dataclass(frozen=True)
class Timeline:
    """What the time column of a log says.

    Attributes:
        first_s: seconds of its first row that has a time: since midnight of `day` or of an unknown
            day, or since any instant where `says` is "elapsed".
        says: seconds elapsed, the time of day, or date and time of day.
        day: from which seconds count, None where the column names no date.
        zone: of the clock; None where it names none.
        clock_changed: the clock followed a change of daylight saving in the run; it is taken out.
        why: what was decided and on what grounds, a line each.
        warnings: what a reader of the run should know, a sentence each.
    """

    first_s: float
    says: Literal["elapsed", "clock", "date"]
    day: date | None = None
    zone: tzinfo | None = None
    clock_changed: bool = False
    why: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class Clock:
    """Reads the time column of one log, in the order of its blocks.

    Numbers are seconds or milliseconds by their unit, or by their steps where these leave no
    doubt. Texts are clock times (over midnight too), or dates with clock times, with or without a
    zone; a clock that starts at exactly zero, or has minutes and seconds only, counts time elapsed.
    What the first rows show is taken to hold for all.
    """

    def __init__(
        self,
        column: Column,
        dialect: Dialect,
        instructions: Instructions,
        name: str,
        *,
        date_column: int | None = None,
    ) -> None:
        """Decide by the first rows how time is written.

        Args:
            column: the time column; its index is ROW_NUMBERS where rows are counted.
            dialect: of the log.
            instructions: what the user and the profile say.
            name: of the file, for errors.
            date_column: index of a column of dates beside it, None where there is none.

        Raises:
            LogRefusedError: its unit, or the order of day and month, cannot be told.
        """
        self._column = column
        self._name = name
        self._zone_here = instructions.clock_zone()
        self._day: date | None = None
        self._zone: tzinfo | None = None
        self._why: list[str] = []
        self._warnings: list[str] = []
        self._rows = self._unreadable = self._first_unreadable = 0
        self._first_s = self._last_s = np.nan
        self._advanced = False
        self._days = 0
        self._shift_s = 0.0
        self._clock_changed = False
        self._restart: tuple[int, float | None] | None = None
        self._restarted_s = 0.0
        self._order: DayOrder | None = None
        self._factor = 1.0
        self._start: float | None = None
        textual = column.index in dialect.textual
        lines, cells = first_cells(dialect, column.index)
        if textual and date_column is not None:
            lines, cells = joined(first_cells(dialect, date_column), (lines, cells))
            if not cells:
                where = f"in column {column.header!r}"
                raise self._refused(
                    f"none of its first rows has both a date and a time {where}: export it again"
                )
        moment = read_moment(cells[0], 0) if textual else None
        self.says: Literal["elapsed", "clock", "date"] = "elapsed"
        if not textual:
            self._look_at_numbers(cells, dialect)
        elif moment is not None and moment.date:
            self.says = "date"
            self._why = ["Time: dates with clock times."]
            self._order = order_of(lines, cells, instructions, name)
        elif cells[0].count(":") < 2 or (moment is not None and moment.clock_s == 0.0):
            self._why = ["Time: hours, minutes and seconds elapsed."]
        else:
            self.says = "clock"
            self._why = ["Time: clock times."]
        self._zoned = moment is not None and moment.zone is not None
        if self._zoned or "utc" in fold(column.header):
            self._zone = UTC

    def read(self, cells: FloatArray | pa.ChunkedArray, line_of: LineOf) -> FloatArray:
        """Return the seconds of the rows of a block, NaN where the time cannot be read.

        Args:
            cells: its time column, float64 or strings; shape (rows,).
            line_of: row -> its line.

        They are as the clock has them: time may run backwards in them.
        """
        if isinstance(cells, pa.ChunkedArray):
            seconds = self._from_texts(cells)
        else:
            seconds = self._from_numbers(cells)
        if self.says == "elapsed":
            seconds = self._since_restart(seconds)
        missing = np.isnan(seconds)
        self._rows += len(seconds)
        known = seconds
        if missing.any():
            if not self._unreadable:
                self._first_unreadable = line_of(int(np.argmax(missing)))
            self._unreadable += int(np.count_nonzero(missing))
            known = seconds[~missing]
        if not len(known):
            return seconds
        if np.isnan(self._first_s):
            self._first_s = self._last_s = float(known[0])
        steps = np.diff(known, prepend=self._last_s)
        self._advanced |= bool(steps.any())
        self._last_s = float(known[-1])
        return seconds

    def restart(self, line: int, shift_s: float | None) -> None:
        """Be told that the logger was restarted before the rows that come next.

        Args:
            line: where its header comes again.
            shift_s: seconds from its first start to this one, None where nobody knows.
        """
        self._restart = line, shift_s

    def timeline(self) -> Timeline:
        """Return what the column says, once every block was read.

        Raises:
            LogRefusedError: too few rows have a time, or all the same.
        """
        if self._unreadable:
            where = f"the first in line {self._first_unreadable}"
            if self._unreadable > max(1, UNREADABLE_SHARE * self._rows):
                raise self._refused(
                    f"{self._unreadable:,} of {self._rows:,} rows have no time that can be read in "
                    f"column {self._column.header!r} ({where}): write it as seconds, hh:mm:ss.fff "
                    "or ISO 8601"
                )
            what = "1 row" if self._unreadable == 1 else f"{self._unreadable:,} rows"
            self._warnings.append(f"Left out: {what} without a time that can be read ({where}).")
        if not self._advanced and self._rows - self._unreadable > 2:
            raise self._refused(
                f"all its {self._rows:,} rows stand at one instant: its clock, in column "
                f"{self._column.header!r}, is too coarse to order samples; say as its unit "
                "how many a second were logged, like 20Hz",
                Remedy("unit", "time"),
            )
        if not self._advanced:
            raise self._refused(
                "it has fewer than two samples at different times, so nothing can be judged by it: "
                "export a longer log"
            )
        return Timeline(
            self._first_s,
            self.says,
            self._day,
            self._zone,
            self._clock_changed,
            tuple(self._why),
            tuple(self._warnings),
        )

    def _since_restart(self, seconds: FloatArray) -> FloatArray:
        """Let time elapsed that began anew with a restart go on from the start before."""
        known = seconds[~np.isnan(seconds)]
        if self._restart is not None and len(known):
            line, shift_s = self._restart
            self._restart = None
            counted = self._column.index == ROW_NUMBERS
            behind = counted or known[0] + self._restarted_s < self._last_s
            if behind and shift_s is not None:
                self._restarted_s = self._first_s + shift_s - float(known[0])
            elif counted:
                self._restarted_s += CLOCK_SET_S
                self._warnings.append(restarted(line))
        return seconds + self._restarted_s if self._restarted_s else seconds

    def _look_at_numbers(self, cells: Sequence[str], dialect: Dialect) -> None:
        unit = self._column.unit
        self._factor = (unit or canonical("time")).factor
        self._why = [
            f"Time: numbers in {canonical('time').symbol if unit is None else unit.symbol}."
        ]
        values, _ = read_numbers(pa.array(cells, pa.string()), pa.float64(), dialect.decimal, "")
        finite = values[np.isfinite(values)]
        if len(finite) and self._column.index != ROW_NUMBERS and self._is_epoch(float(finite[0])):
            return
        steps = np.diff(finite)
        forward = steps[steps > 0.0]
        if unit is not None or not len(forward):
            return
        step = float(np.median(forward))
        if not _SHORTEST_STEP_S <= step < _AMBIGUOUS_STEP:
            raise self._refused(
                f"the time column {self._column.header!r} states no unit, and its steps of "
                f"{step:g} may be milliseconds or seconds: say which",
                Remedy("unit", "time", "ms"),
                Remedy("unit", "time", "s"),
            )
        why = f"steps of {step:g} are seconds, since no logger writes so many rows a millisecond"
        self._why = [f"Time: numbers without a unit; {why}."]

    def _is_epoch(self, value: float) -> bool:
        """Whether numbers count from 1970 on; settles their unit, where none is known, and day."""
        known = self._column.unit
        for unit in units_of("time"):
            seconds = value * unit.factor
            if (
                unit.symbol in _EPOCH_UNITS
                and (known is None or unit.symbol == known.symbol)
                and _EPOCH_S[0] <= seconds < _EPOCH_S[1]
            ):
                self._factor = unit.factor
                self._day = _EPOCH + timedelta(days=int(seconds // _DAY_S))
                self.says, self._zone = "date", UTC
                self._why = [f"Time: {unit.symbol} since 1970 (UTC)."]
                return True
        return False

    def _from_numbers(self, values: FloatArray) -> FloatArray:
        if self._start is None:
            readable = values[~np.isnan(values)]
            self._start = float(readable[0]) if len(readable) else None
        since = (values - (self._start or 0.0)) * self._factor
        if self._day is None:
            return since
        day_s = (self._day - _EPOCH).days * _DAY_S
        return since + ((self._start or 0.0) * self._factor - day_s)

    def _from_texts(self, cells: pa.ChunkedArray) -> FloatArray:
        texts = pc.utf8_trim_whitespace(cells)
        if self.says == "date":
            seconds = self._from_iso(texts)
            if seconds is None:
                seconds = self._from_dates(texts)
            return seconds if self._zone is not None else self._without_clock_changes(seconds)
        parts = pc.extract_regex(texts, _UNDATED)
        seconds = clock_s(parts)
        if self.says == "elapsed":
            return seconds
        return self._over_midnight(seconds - self._offsets_s(parts))

    def _from_iso(self, texts: pa.ChunkedArray) -> FloatArray | None:
        """Read stamps that are ISO 8601 throughout, twenty times faster than by a pattern."""
        try:
            stamps = pc.cast(texts, pa.timestamp("us", tz="UTC" if self._zoned else None))
        except pa.ArrowInvalid:
            return None
        micros = pc.cast(stamps, pa.int64())
        low, high = pc.min_max(micros).as_py().values()
        if low is None or low < _EARLIEST_US or high >= _LATEST_US:
            return None
        if self._day is None:
            first_us = pc.drop_null(micros)[0].as_py()
            self._day = _EPOCH + timedelta(microseconds=first_us)
        since = pc.subtract(micros, (self._day - _EPOCH).days * _DAY_US)
        seconds: FloatArray = pc.cast(since, pa.float64()).to_numpy() / 1e6
        return seconds

    def _from_dates(self, texts: pa.ChunkedArray) -> FloatArray:
        parts = pc.extract_regex(texts, _DATED)
        seconds = self._days_of(parts) * _DAY_S + clock_s(parts) - self._offsets_s(parts)
        # To the microsecond, as _from_iso has it.
        return np.round(seconds * 1e6) / 1e6

    def _days_of(self, parts: pa.ChunkedArray) -> FloatArray:
        """Return days since the first row's date, NaN where there is none."""
        encoded = pc.struct_field(parts, "date").combine_chunks().dictionary_encode()
        texts = encoded.dictionary.to_pylist()
        dates = [days[0] if days else None for days in read_dates(texts, self._order)]
        if self._day is None:
            self._day = next((day for day in dates if day is not None), None)
        day = self._day or date.min
        counts = [np.nan if each is None else float((each - day).days) for each in dates]
        return by_code(counts, encoded)

    def _offsets_s(self, parts: pa.ChunkedArray) -> FloatArray | float:
        """Return the offset of each row's zone; NaN where one names none and the first did."""
        encoded = pc.struct_field(parts, "zone").combine_chunks().dictionary_encode()
        texts = encoded.dictionary.to_pylist()
        if not self._zoned and not any(texts):
            return 0.0
        offsets = [offset_s(text) if bool(text) == self._zoned else np.nan for text in texts]
        return by_code(offsets, encoded)

    def _over_midnight(self, seconds: FloatArray) -> FloatArray:
        """Let a clock that falls by more than half a day go on into the next."""
        readable = np.flatnonzero(~np.isnan(seconds))
        if not len(readable):
            return seconds
        known = seconds[readable]
        before = self._last_s - self._days * _DAY_S
        if np.isnan(before):
            before = known[0]
        days = self._days + np.cumsum(np.diff(known, prepend=before) < -_HALF_DAY_S)
        self._days = int(days[-1])
        seconds[readable] = known + days * _DAY_S
        return seconds

    def _without_clock_changes(self, seconds: FloatArray) -> FloatArray:
        """Take changes to or from daylight saving out of a clock that followed them in the run."""
        readable = np.flatnonzero(~np.isnan(seconds))
        if self._day is None or not len(readable):
            return seconds
        by_clock = seconds[readable]
        before_s = by_clock[0] if np.isnan(self._last_s) else self._last_s + self._shift_s
        steps = np.diff(by_clock, prepend=before_s)
        seconds = seconds - self._shift_s
        for at in np.flatnonzero(np.abs(steps) >= _LEAST_CHANGE_S):
            left_s = by_clock[at - 1] if at else before_s
            change_s = self._change_s(float(left_s), float(by_clock[at]))
            if change_s and abs(steps[at] - change_s) <= _CHANGE_SLACK_S:
                seconds[readable[at] :] -= change_s
                self._shift_s += change_s
                self._clock_changed = True
                hours = f"{change_s / 3600.0:+g} h"
                said = f"Clocks in {self._zone_here} changed by {hours} during the run; taken out."
                self._why.append(said)
        return seconds

    def _change_s(self, before_s: float, after_s: float) -> float:
        """Return by how much clocks here changed between two readings of one."""
        day = self._day or _EPOCH
        before = local_time(day, before_s).replace(tzinfo=self._zone_here).utcoffset()
        after = local_time(day, after_s).replace(tzinfo=self._zone_here, fold=1).utcoffset()
        return (after - before).total_seconds() if after is not None and before is not None else 0.0

    def _refused(self, sentence: str, *remedies: Remedy) -> LogRefusedError:
        return refusal(self._name, (Problem(sentence, remedies),))


def local_time(day: date, seconds: float) -> datetime:
    """Return the moment so many seconds by the clock after midnight of `day`, without a zone."""
    return datetime.combine(day, time()) + timedelta(seconds=seconds)
