"""Which columns of a log carry its time: one, a date and a clock apart, one a channel, or none."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

from babbitt.ingest.text.dialect import Dialect, Line
from babbitt.ingest.text.headers import Meaning, fold, name_and_unit
from babbitt.ingest.text.numerals import is_blank
from babbitt.ingest.time.dates import Moment, key_and_value, note_of_start, read_moment
from babbitt.logbook.settings import DATE, TIME
from babbitt.model.contracts import read_toml
from babbitt.model.units import Unit, parse

ROW_NUMBERS = -1
"""Stands for a time column where rows are counted, for want of any."""

_FREQUENCY_HZ = {"": 1.0, "hz": 1.0, "khz": 1000.0, "1/s": 1.0, "s-1": 1.0, "samples/s": 1.0}
"""Units of a sample rate; a rate without one is so many samples a second, as its name says."""

_value = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>[^\d\s].*)?")


@dataclass(frozen=True)
class Timing:
    """Which columns carry the time of a log.

    Attributes:
        time: column of the time, or of the numbers of samples; ROW_NUMBERS where there is no such
            column, but a note of the rate; None where nothing tells the time.
        date: column of the dates beside it, None where there is none.
        clocks: column of a channel -> that of its own time; empty where all go by one.
        step_s: seconds from sample to sample, where `time` counts samples.
    """

    time: int | None = None
    date: int | None = None
    clocks: Mapping[int, int] = field(default_factory=dict)
    step_s: float | None = None


def find_timing(
    dialect: Dialect,
    meanings: Sequence[Meaning],
    given: Mapping[int, str],
    rate: Unit | None = None,
) -> Timing:
    """Find the columns that carry the time of a log.

    Args:
        dialect: of the log.
        meanings: of its headers; shape (columns,).
        given: column -> what it was stated to be, or is in the profile.
        rate: of the samples, stated by the user in place of a clock; None where none is.
    """
    said = {name: index for index, name in given.items() if name in (TIME, DATE)}
    free = [i for i in range(len(meanings)) if i not in given]
    times = [i for i in free if meanings[i].channel == TIME]
    if rate is not None:
        counted = next((i for i in free if _is_named(dialect.headers[i], "samples")), ROW_NUMBERS)
        dated = next((i for i in times if _says_date(dialect, i)), None)
        return Timing(time=counted, date=dated, step_s=rate.factor)
    if TIME not in said:
        clocks = _own_clocks(dialect.headers, times)
        if clocks:
            return Timing(time=0, clocks=clocks)
    dates = [i for i in free if _is_named(dialect.headers[i], "dates") and _says_date(dialect, i)]
    date = said.get(DATE, dates[0] if dates else None)
    time = said.get(TIME, times[0] if times else None)
    if time is None and date is not None and _says_clock(dialect, date):
        return Timing(time=date)
    step_s = step_noted(dialect.notes)
    counts = [i for i in free if _is_named(dialect.headers[i], "samples")]
    if time is None and step_s is not None:
        return Timing(time=counts[0] if counts else ROW_NUMBERS, date=date, step_s=step_s)
    if time is None or _says_date(dialect, time):
        return Timing(time=time)
    counted = _is_named(dialect.headers[time], "samples")
    return Timing(time=time, date=date, step_s=step_s if counted else None)


def start_noted(dialect: Dialect, date: int | None) -> Moment | None:
    """Return the start that a log states beside its time: in its notes, or by a column of dates.

    Args:
        dialect: of the log.
        date: column of the dates, None where there is none.
    """
    note = note_of_start(dialect.notes)
    if date is None or (note is not None and note.date):
        return note
    row = next((row for row in dialect.rows if not is_blank(row.cells[date])), None)
    moment = None if row is None else read_moment(row.cells[date], row.number)
    if moment is None or note is None:
        return moment or note
    return Moment(moment.line, moment.date, note.clock_s, note.zone)


def step_noted(notes: Sequence[Line]) -> float | None:
    """Return the seconds from sample to sample as a note of a rate or interval states them.

    None where no note does, or two notes contradict each other.

    Args:
        notes: lines above the header.
    """
    steps: set[float] = set()
    for line in notes:
        key, text = key_and_value(line)
        name, unit = name_and_unit(key)
        match = _value.fullmatch(text.strip())
        if match is None:
            continue
        number = float(match["number"].replace(",", "."))
        unit = (match["unit"] or unit).strip()
        if number > 0.0 and _is_key(name, "rate") and unit.casefold() in _FREQUENCY_HZ:
            steps.add(1.0 / (number * _FREQUENCY_HZ[unit.casefold()]))
        duration = parse(unit, dimension=TIME) if unit else None
        if number > 0.0 and _is_key(name, "interval") and duration is not None:
            steps.add(number * duration.factor)
    return steps.pop() if len(steps) == 1 else None


def _own_clocks(headers: Sequence[str], times: Sequence[int]) -> dict[int, int]:
    """Return channel -> its own time column, where every channel follows one; else nothing.

    Either the time columns share one name, or each is named after the channel behind it.
    """
    names = [fold(name_and_unit(header)[0]) for header in headers]
    own = {
        i
        for i in range(len(names) - 1)
        if names[i + 1]
        and names[i] in {f"{t}{names[i + 1]}" for t in ("t", "time")} | {f"{names[i + 1]}time"}
    }
    if len({names[i] for i in times}) == 1:
        own |= set(times)
    if len(own) < 2 or 0 not in own or any(i + 1 in own for i in own) or len(names) - 1 in own:
        return {}
    clocks: dict[int, int] = {}
    clock = 0
    for i in range(len(names)):
        if i in own:
            clock = i
        else:
            clocks[i] = clock
    return clocks


def _first_filled(dialect: Dialect, column: int) -> str:
    cells = (row.cells[column] for row in dialect.rows)
    return next((cell for cell in cells if not is_blank(cell)), "")


def _says_date(dialect: Dialect, column: int) -> bool:
    moment = read_moment(_first_filled(dialect, column), 0)
    return moment is not None and moment.date != ""


def _says_clock(dialect: Dialect, column: int) -> bool:
    moment = read_moment(_first_filled(dialect, column), 0)
    return moment is not None and moment.clock_s is not None


def _is_named(header: str, key: str) -> bool:
    return fold(name_and_unit(header)[0]) in _names()[key]


def _is_key(name: str, key: str) -> bool:
    return fold(name) in _names()[key]


@cache
def _names() -> dict[str, frozenset[str]]:
    written = read_toml("time.toml")
    lists = {key: written[key] for key in ("dates", "samples")} | written["notes"]
    return {key: frozenset(fold(name) for name in names) for key, names in lists.items()}
