"""Dates and clock times as people and loggers write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta, timezone
from functools import cache
from typing import Literal, get_args

from babbitt.errors import LogRefusedError, Remedy
from babbitt.ingest.source import Problem, refusal
from babbitt.ingest.text.dialect import Line
from babbitt.ingest.text.headers import fold
from babbitt.ingest.text.wording import shown
from babbitt.model.contracts import read_toml

DayOrder = Literal["day-first", "month-first", "year-first"]

HALF = r"[AaPp]\.?[Mm]\.?"
"""AM or PM, as a regular expression."""

CLOCK = rf"(?:(?P<h>\d{{1,3}}):)?(?P<m>\d{{1,2}}):(?P<s>\d{{2}}(?:[.,]\d+)?)(?: *(?P<half>{HALF}))?"
"""hh:mm:ss.fff, with AM or PM or without, or mm:ss.fff, as a regular expression."""

ZONE = r"Z|UTC|GMT|[+-](?:0\d|1[0-4])(?::?[0-5]\d)?"
"""A zone behind a clock time, as a regular expression."""

YEARS = range(1900, 2200)
"""A year outside these is no year of a log."""

_CENTURY = 69
"""POSIX (strptime, %y): two-digit years from 69 on are of the 1900s, those below of the 2000s."""

_YEAR = r"(?:19|20|21)\d\d"
_year_first = re.compile(
    rf"(?P<y>{_YEAR})([-/.])(?P<m>\d{{1,2}})\2(?P<d>\d{{1,2}})|"
    rf"(?P<y2>{_YEAR})(?P<m2>\d{{2}})(?P<d2>\d{{2}})"
)
_year_last = re.compile(rf"(?P<a>\d{{1,2}})([-/.])(?P<b>\d{{1,2}})\2(?P<c>{_YEAR}|\d\d)")
_named = re.compile(
    rf"(?P<d>\d{{1,2}})[-. ]*(?P<name>[A-Za-z]{{3,9}})[-., ]*(?P<y>{_YEAR}|(?<=\D)\d\d)|"
    rf"(?P<name2>[A-Za-z]{{3,9}})[. ]+(?P<d2>\d{{1,2}}),? +(?P<y2>{_YEAR})"
)
_moment = re.compile(
    rf"(?P<date>.*?\d.*?)??(?:(?:^|[T ,]+)(?P<clock>\d{{1,2}}:\d{{2}}(?::\d{{2}}(?:[.,]\d+)?)?)"
    rf"(?: *(?P<half>{HALF}))? *(?P<zone>{ZONE})?)?"
)
_weekday = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[,. ]+", re.IGNORECASE)
_LONGEST_MOMENT = 60
_months = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_note = re.compile(r"(?P<key>[^:=]*[^:=\s])\s*[:=]\s*(?P<value>.+)")


@dataclass(frozen=True)
class Moment:
    """A date, a clock time or both, as text says them.

    Attributes:
        line: of the file.
        date: text of the date, "" where there is none.
        clock_s: seconds since midnight, None where there is no clock time.
        zone: of the clock, None where none is named.
    """

    line: int
    date: str
    clock_s: float | None
    zone: timezone | None


def read_dates(texts: Sequence[str], order: DayOrder | None) -> tuple[tuple[date, ...], ...]:
    """Return every date that each text can mean, as they stand in one log.

    One text that makes a date in one order of day, month and year only settles it for all.

    Args:
        texts: dates in figures, or with the month's English name.
        order: of day, month and year in figures where it is not plain; None: whichever makes dates.
    """
    orders: tuple[DayOrder, ...] = get_args(DayOrder) if order is None else (order,)
    readings = [[_read_date(text.strip(), each) for text in texts] for each in orders]
    most = max(sum(day is not None for day in days) for days in readings)
    fitting = [days for days in readings if sum(day is not None for day in days) == most]
    return tuple(
        tuple(dict.fromkeys(day for day in days if day is not None))
        for days in zip(*fitting, strict=True)
    )


def read_date(text: str, order: DayOrder | None) -> tuple[date, ...]:
    """Return every date that a text by itself can mean; as `read_dates` does for many."""
    return read_dates([text], order)[0]


def ambiguous_date(text: str, readings: Sequence[date], line: int, name: str) -> LogRefusedError:
    """Return the refusal of a date that can be read in several ways.

    Args:
        text: the date.
        readings: what it may be.
        line: of the file.
        name: of the file.
    """
    told = " or ".join(f"{day.day} {day:%B %Y}" for day in readings)
    orders: dict[tuple[date, ...], DayOrder] = {}
    for order in get_args(DayOrder):
        orders.setdefault(read_date(text, order), order)
    sentence = (
        f"the date {shown(text)} in line {line} may be {told}: say which is meant, "
        "or state the start"
    )
    remedies = tuple(Remedy("dates", value=order) for days, order in orders.items() if days)
    return refusal(name, (Problem(sentence, remedies),))


def zone_of(text: str) -> timezone:
    """Return the zone of a text that matches ZONE."""
    if not text.startswith(("+", "-")):
        return UTC
    digits = text[1:].replace(":", "").ljust(4, "0")
    offset = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return timezone(-offset if text[0] == "-" else offset)


def note_of_start(notes: Sequence[Line]) -> Moment | None:
    """Return the start that the notes above a log's header state, None where they state none.

    A note is a key in the first cell, or before a colon, and its value behind it. A note of the
    whole start wins over notes of date and clock time.

    Args:
        notes: lines above the header.
    """
    found: dict[str, Moment] = {}
    for line in notes:
        key, value = key_and_value(line)
        kinds = _note_kinds().get(fold(key), ())
        moment = read_moment(value, line.number)
        if moment is None:
            continue
        for kind in kinds:
            has = {"start": moment.date, "date": moment.date, "clock": moment.clock_s is not None}
            if has[kind]:
                found.setdefault(kind, moment)
            elif kind == "start":
                found.setdefault("clock", moment)
    if "start" in found and found["start"].clock_s is not None:
        return found["start"]
    day, clock = found.get("start") or found.get("date"), found.get("clock")
    if day is None or clock is None or day.clock_s is not None:
        return day or clock
    return Moment(day.line, day.date, clock.clock_s, clock.zone)


def read_moment(text: str, line: int) -> Moment | None:
    """Return the date, clock time or both that `text` says, None where it says neither."""
    match = _moment.fullmatch(_weekday.sub("", text.strip()[:_LONGEST_MOMENT]))
    if match is None or not (match["date"] or match["clock"]):
        return None
    day = (match["date"] or "").strip()
    if day and not (
        _year_first.fullmatch(day) or _year_last.fullmatch(day) or _named.fullmatch(day)
    ):
        return None
    zone = zone_of(match["zone"]) if match["zone"] else None
    clock_s = _seconds(match["clock"], match["half"] or "") if match["clock"] else None
    return Moment(line, day, clock_s, zone)


def _seconds(clock: str, half: str) -> float:
    hours, minutes, seconds = [*clock.replace(",", ".").split(":"), "0"][:3]
    hour = int(hours) % 12 + 12 * (half[0] in "Pp") if half else int(hours)
    return hour * 3600 + int(minutes) * 60 + float(seconds)


def _read_date(text: str, order: DayOrder) -> date | None:
    """Return the date of a text, its figures in the order given where they may be in several."""
    if match := _year_first.fullmatch(text):
        year, month, day = (match[k] or match[f"{k}2"] for k in "ymd")
        return _date(year, month, day)
    if match := _named.fullmatch(text):
        year, day, name = (match[k] or match[f"{k}2"] for k in ("y", "d", "name"))
        number = _month(name)
        return None if number is None else _date(year, str(number), day)
    if match := _year_last.fullmatch(text):
        first, second, last = match["a"], match["b"], match["c"]
        match order:
            case "day-first":
                return _date(last, second, first)
            case "month-first":
                return _date(last, first, second)
            case "year-first" if len(first) == len(last) == 2:
                return _date(first, second, last)
    return None


def _date(year: str, month: str, day: str) -> date | None:
    full = int(year)
    if len(year) == 2:
        full += 1900 if full >= _CENTURY else 2000
    try:
        return date(full, int(month), int(day))
    except ValueError:
        return None


def _month(name: str) -> int | None:
    matching = [i for i, full in enumerate(_months, 1) if full.startswith(name.casefold())]
    return matching[0] if len(matching) == 1 else None


def key_and_value(line: Line) -> tuple[str, str]:
    """Return the key of a note and the value behind it, both "" where it has none."""
    filled = [cell for cell in line.cells if cell]
    if len(filled) > 1:
        return filled[0].strip("#;/: "), " ".join(filled[1:])
    match = _note.fullmatch(filled[0].lstrip("#;/ "))
    return (match["key"], match["value"]) if match else ("", "")


@cache
def _note_kinds() -> dict[str, tuple[str, ...]]:
    """Folded key of a note -> what it can date."""
    kinds: dict[str, tuple[str, ...]] = {}
    for kind, keys in read_toml("time.toml")["notes"].items():
        for key in keys:
            kinds[fold(key)] = (*kinds.get(fold(key), ()), kind)
    return kinds
