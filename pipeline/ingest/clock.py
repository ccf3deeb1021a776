"""The time column: seconds from the first row, however the logger writes its time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import LogRefusedError
from pipeline.ingest.cells import Table
from pipeline.ingest.channels import Column
from pipeline.ingest.dates import CLOCK, YEARS, ZONE, read_date, read_moment, zone_of
from pipeline.ingest.headers import fold
from pipeline.ingest.source import Instructions, Problem, refusal
from pipeline.run import FloatArray
from pipeline.units import canonical

UNREADABLE_SHARE = 0.01
"""More rows than this without a readable time, and a log is refused."""

_EPOCH = date(1970, 1, 1)
_DAY_US = 86_400_000_000
_EARLIEST_US, _LATEST_US = (
    (date(year, 1, 1) - _EPOCH).days * _DAY_US for year in (YEARS.start, YEARS.stop)
)
_DAY_S = 86_400.0
_HALF_DAY_S = 43_200.0
_SHORTEST_STEP_S, _AMBIGUOUS_STEP = 0.0005, 1.0
"""A step between these is seconds: as milliseconds it would be a logger of more than 1 kHz. A
longer one may be a slow logger in seconds or a usual one in milliseconds."""

_SAYS_DATES = ("Time: dates with clock times.",)

_LOOKED_AT = 10_000
"""Rows whose steps tell the unit of a time that states none."""

_CHANGE_SLACK_S = 60.0
"""The step at a change of daylight saving is the change and the usual step together."""


@dataclass(frozen=True)
class Timeline:
    """The rows of a log on a line of time.

    Attributes:
        seconds: float64, since midnight of `day` or of an unknown day, or since any instant where
            `says` is "elapsed"; NaN where the time cannot be read; shape (rows,).
        says: what the column says: seconds elapsed, the time of day, or date and time of day.
        day: from which `seconds` count, None where the column names no date.
        zone: of the clock; None where it names none.
        why: what was decided and on what grounds, a line each.
        warnings: what a reader of the run should know, a sentence each.
    """

    seconds: FloatArray
    says: Literal["elapsed", "clock", "date"]
    day: date | None = None
    zone: tzinfo | None = None
    why: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def read_timeline(table: Table, column: Column, instructions: Instructions, name: str) -> Timeline:
    """Read the time column of a log.

    Numbers are seconds or milliseconds by their unit, or by their steps where these leave no
    doubt. Texts are clock times (over midnight too), or dates with clock times, with or without a
    zone; a clock that starts at exactly zero, or has minutes and seconds only, counts time elapsed.

    Args:
        table: the rows of the log.
        column: the time column.
        instructions: what the user and the profile say.
        name: of the file, for errors.

    Raises:
        LogRefusedError: the time cannot be read, or runs backwards; never is it sorted.
    """
    if isinstance(table.time, pa.ChunkedArray):
        timeline = _from_texts(table, table.time, column, instructions, name)
    elif table.time is not None:
        timeline = _from_numbers(table.time, column, name)
    else:
        raise ValueError("the log has no time column to read")
    readable = np.flatnonzero(~np.isnan(timeline.seconds))
    missing = table.rows - len(readable)
    warnings = timeline.warnings
    if missing:
        first = int(np.flatnonzero(np.isnan(timeline.seconds))[0])
        where = f"the first in line {table.line_of(first)}"
        if missing > max(1, UNREADABLE_SHARE * table.rows):
            raise _refused(
                f"{missing:,} of {table.rows:,} rows have no time that can be read in column "
                f"{column.header!r} ({where}): write it as seconds, hh:mm:ss.fff or ISO 8601",
                name,
            )
        what = "1 row" if missing == 1 else f"{missing:,} rows"
        warnings += (f"Left out: {what} without a time that can be read ({where}).",)
    steps = np.diff(timeline.seconds[readable])
    if not steps.any():
        raise _refused(
            "it has fewer than two samples at different times, so nothing can be judged by it: "
            "export a longer log",
            name,
        )
    if (steps < 0.0).any():
        at = int(np.flatnonzero(steps < 0.0)[0])
        raise _refused(
            f"time runs backwards in line {table.line_of(int(readable[at + 1]))}, by "
            f"{-steps[at]:g} s: the logger was restarted or its clock set; cut the file there and "
            "ingest its parts one by one",
            name,
        )
    return replace(timeline, warnings=warnings)


def _from_numbers(values: FloatArray, column: Column, name: str) -> Timeline:
    unit = column.unit
    why = f"Time: numbers in {canonical('time').symbol if unit is None else unit.symbol}."
    readable = values[~np.isnan(values)]
    steps = np.diff(readable[:_LOOKED_AT])
    forward = steps[steps > 0.0]
    if unit is None and len(forward):
        step = float(np.median(forward))
        if not _SHORTEST_STEP_S <= step < _AMBIGUOUS_STEP:
            raise _refused(
                f"the time column {column.header!r} states no unit, and its steps of {step:g} may "
                "be milliseconds or seconds: say which with --unit time=ms or --unit time=s",
                name,
                option="--unit time=ms",
            )
        why = (
            f"Time: numbers without a unit; steps of {step:g} are seconds, since no logger writes "
            "so many rows a millisecond."
        )
    start = readable[0] if len(readable) else 0.0
    return Timeline((values - start) * (unit or canonical("time")).factor, "elapsed", why=(why,))


def _from_texts(
    table: Table, cells: pa.ChunkedArray, column: Column, instructions: Instructions, name: str
) -> Timeline:
    texts = pc.utf8_trim_whitespace(cells)
    filled = texts.drop_null()
    first = filled[0].as_py() if len(filled) else ""
    moment = read_moment(first, 0)
    if moment is not None and moment.date:
        timeline = _from_iso(texts) or _from_dates(texts, table, instructions, name)
    else:
        timeline = _from_clock(texts, first)
    if timeline.zone is None and "utc" in fold(column.header):
        timeline = replace(timeline, zone=UTC)
    return _without_clock_change(timeline, instructions.clock_zone())


def _from_dates(
    texts: pa.ChunkedArray, table: Table, instructions: Instructions, name: str
) -> Timeline:
    parts = pc.extract_regex(texts, rf"^(?P<date>.+?)[T ,]+{CLOCK} *(?P<zone>{ZONE})?$")
    zone, offset_s = _zones(parts)
    days, day = _days(parts, table, instructions, name)
    seconds = days * _DAY_S + _clock_s(parts) - offset_s
    return Timeline(seconds, "date", day, zone, _SAYS_DATES)


def _from_clock(texts: pa.ChunkedArray, first: str) -> Timeline:
    parts = pc.extract_regex(texts, rf"^{CLOCK} *(?P<zone>{ZONE})?$")
    zone, offset_s = _zones(parts)
    clock_s = _clock_s(parts)
    known = clock_s[~np.isnan(clock_s)]
    if first.count(":") < 2 or (len(known) and known[0] == 0.0):
        return Timeline(clock_s, "elapsed", why=("Time: hours, minutes and seconds elapsed.",))
    seconds = _over_midnight(clock_s - offset_s)
    return Timeline(seconds, "clock", None, zone, ("Time: clock times.",))


def _from_iso(texts: pa.ChunkedArray) -> Timeline | None:
    """Read stamps that are ISO 8601 throughout, twenty times faster than by a pattern."""
    for zone in (None, UTC):
        try:
            stamps = pc.cast(texts, pa.timestamp("us", tz=None if zone is None else "UTC"))
        except pa.ArrowInvalid:
            continue
        micros = pc.cast(stamps, pa.int64())
        low, high = pc.min_max(micros).as_py().values()
        if low < _EARLIEST_US or high >= _LATEST_US:
            return None
        day = _EPOCH + timedelta(microseconds=pc.drop_null(micros)[0].as_py())
        since = pc.subtract(micros, (day - _EPOCH).days * _DAY_US)
        seconds = pc.cast(since, pa.float64()).to_numpy() / 1e6
        return Timeline(seconds, "date", day, zone, _SAYS_DATES)
    return None


def _clock_s(parts: pa.ChunkedArray) -> FloatArray:
    """Return the seconds since midnight of clock times, NaN where there is none."""

    def number(part: str) -> FloatArray:
        texts = pc.replace_substring(pc.struct_field(parts, part), ",", ".")
        filled = pc.if_else(pc.equal(texts, ""), "0", texts)
        values: FloatArray = pc.cast(filled, pa.float64()).to_numpy()
        return values

    return number("h") * 3600.0 + number("m") * 60.0 + number("s")


def _zones(parts: pa.ChunkedArray) -> tuple[tzinfo | None, FloatArray | float]:
    """Return UTC and the offset of each row in seconds, or None and zero where no zone is named."""
    encoded = pc.struct_field(parts, "zone").combine_chunks().dictionary_encode()
    texts = encoded.dictionary.to_pylist()
    if not any(texts):
        return None, 0.0
    offsets = np.array(
        [zone_of(text).utcoffset(None).total_seconds() if text else np.nan for text in texts]
    )
    return UTC, offsets[_indices(encoded)]


def _days(
    parts: pa.ChunkedArray, table: Table, instructions: Instructions, name: str
) -> tuple[FloatArray, date]:
    """Return days since the first row's date, NaN where there is none, and that date."""
    order = instructions.profile.dates if instructions.profile is not None else None
    encoded = pc.struct_field(parts, "date").combine_chunks().dictionary_encode()
    texts = encoded.dictionary.to_pylist()
    dates: list[date | None] = []
    for code, text in enumerate(texts):
        readings = read_date(text, order)
        settled = len(readings) == 1 or (len(texts) == 1 and instructions.started is not None)
        if readings and not settled:
            row = int(np.flatnonzero(_indices(encoded) == code)[0])
            raise ambiguous_date(text, readings, table.line_of(row), name)
        dates.append(readings[0] if readings else None)
    known = [day for day in dates if day is not None]
    if not known:
        return np.full(table.rows, np.nan), date.min
    counts = np.array([np.nan if day is None else (day - known[0]).days for day in dates])
    return counts[_indices(encoded)], known[0]


def ambiguous_date(text: str, readings: tuple[date, ...], line: int, name: str) -> LogRefusedError:
    """Return the refusal of a date whose day and month may be swapped."""
    first, second = (f"{day.day} {day:%B %Y}" for day in readings)
    return _refused(
        f"the date {text!r} in line {line} may be {first} or {second}: say which with dates = "
        '"day-first" or "month-first" in a logger profile, or state the start with --started',
        name,
        option="--started WHEN",
    )


def _indices(encoded: pa.DictionaryArray) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return the codes of a dictionary array; the last code, which is none, where it is null."""
    codes: np.ndarray[tuple[int], np.dtype[np.int64]] = (
        encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int64)
    )
    return codes


def _over_midnight(seconds: FloatArray) -> FloatArray:
    """Let a clock that falls by more than half a day go on into the next."""
    readable = np.flatnonzero(~np.isnan(seconds))
    days = np.cumsum(np.diff(seconds[readable]) < -_HALF_DAY_S)
    seconds[readable[1:]] += days * _DAY_S
    return seconds


def _without_clock_change(timeline: Timeline, zone: tzinfo) -> Timeline:
    """Take a change to or from daylight saving out of a clock that followed it during the run."""
    seconds = timeline.seconds
    readable = np.flatnonzero(~np.isnan(seconds))
    if timeline.zone is not None or timeline.day is None or len(readable) < 2:
        return timeline
    first, last = (local_time(timeline.day, float(seconds[i])) for i in (readable[0], readable[-1]))
    before = first.replace(tzinfo=zone).utcoffset()
    after = last.replace(tzinfo=zone, fold=1).utcoffset()
    change_s = (after - before).total_seconds() if before is not None and after is not None else 0.0
    steps = np.diff(seconds[readable])
    at = np.flatnonzero(np.abs(steps - change_s) <= _CHANGE_SLACK_S)
    if change_s == 0.0 or not len(at):
        return timeline
    seconds = seconds.copy()
    seconds[readable[at[0] + 1] :] -= change_s
    said = f"Clocks in {zone} changed by {change_s / 3600.0:+g} h during the run; taken out."
    return replace(timeline, seconds=seconds, why=(*timeline.why, said))


def local_time(day: date, seconds: float) -> datetime:
    """Return the moment so many seconds by the clock after midnight of `day`, without a zone."""
    return datetime.combine(day, time()) + timedelta(seconds=seconds)


def _refused(sentence: str, name: str, *, option: str | None = None) -> LogRefusedError:
    return refusal(name, (Problem(sentence, option),))
