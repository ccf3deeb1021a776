"""Which column is which channel, and in what unit; what is missing is reported, never guessed."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from babbitt.errors import Remedy
from babbitt.ingest.columns.likely import Likely, may_be_speed, may_be_time
from babbitt.ingest.source import Instructions, Problem
from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.headers import Meaning, dimension_of, fold, read_header
from babbitt.ingest.text.wording import listed
from babbitt.ingest.time.timing import ROW_NUMBERS, Timing, find_timing
from babbitt.logbook.settings import DATE, TIME
from babbitt.model.channels import WATCHED, Channel, channels
from babbitt.model.units import Unit, parse

UnitBasis = Literal[
    "header", "units row", "values", "name", "profile", "stated", "dimensionless", "note", ""
]

_NO_UNIT = ("", "-", "--")
_MOST_RIVALS = 4
"""So many columns that claim one channel are named."""


@dataclass(frozen=True)
class Column:
    """One column of a log, and what is made of it.

    Attributes:
        index: of the column, counted from 0; ROW_NUMBERS for the time where rows are counted.
        header: as written; a repeated one has its number behind it ("Oil Press (2)").
        name: of the channel in the run, or "time".
        channel: the canonical channel, None where it is none.
        unit: of its numbers; None where it is not known.
        unit_text: as the log states it, "" where it states none.
        unit_basis: how the unit is known, "" where it is not.
        absolute: an absolute pressure, from which ambient pressure must be taken.
        given: what it is was stated or is in the profile.
        clock: index of the time column that this one goes by, where each has its own.
    """

    index: int
    header: str
    name: str
    channel: Channel | None
    unit: Unit | None
    unit_text: str
    unit_basis: UnitBasis
    absolute: bool = False
    given: bool = False
    clock: int | None = None


@dataclass(frozen=True)
class Layout:
    """What the columns of a log are.

    Attributes:
        time: the time column, None where there is none; the first where each channel has its own.
        date: a column of dates beside it, None where there is none.
        clocks: the time columns, where each channel goes by its own; else none.
        columns: the others, in the order of the log.
        unitless: channels that are not watched and whose unit is not known, as they would be with
            one; in `columns` they are kept as they stand.
        problems: what keeps the log from being read, apart from units that nobody stated.
        warnings: what was left aside, a sentence each.
    """

    time: Column | None
    date: Column | None
    clocks: tuple[Column, ...]
    columns: tuple[Column, ...]
    unitless: tuple[Column, ...]
    problems: tuple[Problem, ...]
    warnings: tuple[str, ...]


def lay_out(dialect: Dialect, instructions: Instructions) -> Layout:
    """Say which column is which channel, and in what unit.

    A header that was stated or is in the profile is what it is said to be; any other is looked up
    among the known names. A unit given wins over the one stated.

    Args:
        dialect: of the log.
        instructions: what was given.
    """
    headers = _numbered(dialect.headers)
    meanings = [read_header(header) for header in dialect.headers]
    given, problems = _given(headers, instructions)
    timing = find_timing(dialect, meanings, given, instructions.rate_given())
    owners, rivalries, warnings = _owners(headers, meanings, given)
    names = {index: name for name, index in owners.items()}
    columns: list[Column] = []
    unitless: list[Column] = []
    for i, (header, meaning) in enumerate(zip(headers, meanings, strict=True)):
        if i in (timing.time, timing.date) or i in timing.clocks.values():
            continue
        stated = _stated(meaning, dialect.units[i], dialect.glued[i])
        if i in names:
            absolute = meaning.absolute and meaning.channel == names[i]
            column = _known(i, header, names[i], stated, instructions, absolute=absolute)
            column = replace(column, given=i in given)
        else:
            column = Column(i, header, _own_name(header, i), None, None, stated[0], "")
        if column.channel is not None and column.unit is None and column.name not in WATCHED:
            warnings.append(_without_unit(column, column.channel))
            unitless.append(column)
            column = replace(column, name=f"{column.name}_as_logged", channel=None)
        if column.name in instructions.left_out:
            column = replace(column, name=f"{column.name}_as_logged", channel=None)
        columns.append(replace(column, clock=timing.clocks.get(i)))
    times = [
        _time_column(i, headers, meanings, dialect, timing, instructions, given=i in given)
        for i in ([] if timing.time is None else sorted({timing.time, *timing.clocks.values()}))
    ]
    problems += rivalries
    if len({column.unit for column in times}) > 1:
        these = listed([column.header for column in times])
        problems.append(Problem(f"its time columns ({these}) are not in one unit: export it again"))
    if timing.clocks and any(column.index in dialect.textual for column in times):
        sentence = "the time columns that its channels each bring are text: export them in seconds"
        problems.append(Problem(sentence))
    if timing.time is None:
        problems.append(_no_time(headers, may_be_time(dialect)))
    if "rpm" not in owners:
        problems.append(_no_speed(headers, may_be_speed(dialect, set(owners.values()))))
    date = timing.date
    return Layout(
        time=times[0] if times else None,
        date=None if date is None else Column(date, headers[date], DATE, None, None, "", ""),
        clocks=tuple(times) if timing.clocks else (),
        columns=_with_unique_names(columns),
        unitless=tuple(unitless),
        problems=tuple(problems),
        warnings=tuple(warnings),
    )


def _time_column(
    index: int,
    headers: Sequence[str],
    meanings: Sequence[Meaning],
    dialect: Dialect,
    timing: Timing,
    instructions: Instructions,
    *,
    given: bool,
) -> Column:
    """Return a column of the time, or of sample numbers, whose unit is then the noted interval."""
    header = "" if index == ROW_NUMBERS else headers[index]
    if timing.step_s is not None and instructions.unit_given(TIME, TIME) is None:
        unit = Unit(f"samples of {timing.step_s:g} s", TIME, timing.step_s)
        return Column(index, header, TIME, None, unit, "", "note", given=given)
    row, glued = (dialect.units[index], dialect.glued[index]) if index >= 0 else ("", "")
    stated = _stated(meanings[index], row, glued) if index >= 0 else ("", "")
    column = _known(index, header, TIME, stated, instructions, absolute=False)
    return replace(column, given=given)


def _numbered(headers: Sequence[str]) -> list[str]:
    """Return the headers with the second of a name as "name (2)"; those that are blank stay so."""
    seen: Counter[str] = Counter()
    numbered: list[str] = []
    for header in headers:
        seen[header] += 1
        again = header != "" and seen[header] > 1
        numbered.append(f"{header} ({seen[header]})" if again else header)
    return numbered


def _given(
    headers: Sequence[str], instructions: Instructions
) -> tuple[dict[int, str], list[Problem]]:
    """Return column -> channel as the profile and the user say, who must name real headers."""
    problems: list[Problem] = []
    mapped: dict[int, str] = {}
    for header, name in instructions.columns.items():
        index = _index_of(header, headers)
        if index is None:
            close = difflib.get_close_matches(header, headers, n=1, cutoff=0.4)
            nearest = f"the nearest is {close[0]!r}" if close else f"it has {listed(headers)}"
            problems.append(Problem(f"it has no column {header!r} to map to {name} ({nearest})"))
        else:
            mapped[index] = name
    given: dict[int, str] = {}
    if instructions.profile is not None:
        for header, name in instructions.profile.columns.items():
            index = _index_of(header, headers)
            if index is not None and name not in mapped.values():
                given[index] = name
    given |= mapped
    for name, times in Counter(given.values()).items():
        if times > 1:
            these = " and ".join(repr(headers[i]) for i, other in given.items() if other == name)
            problems.append(Problem(f"{these} are both mapped to {name}: map only one of them"))
    return given, problems


def _index_of(header: str, headers: Sequence[str]) -> int | None:
    if header in headers:
        return headers.index(header)
    folded = [fold(other) for other in headers]
    return folded.index(fold(header)) if fold(header) in folded else None


def _owners(
    headers: Sequence[str], meanings: Sequence[Meaning], given: Mapping[int, str]
) -> tuple[dict[str, int], list[Problem], list[str]]:
    """Return channel -> column; a channel that several columns claim has no owner."""
    owners = {name: index for index, name in given.items() if name not in (TIME, DATE)}
    claims: dict[str, list[int]] = {}
    for index, meaning in enumerate(meanings):
        channel = meaning.channel
        if channel is not None and channel not in (TIME, *owners) and index not in given:
            claims.setdefault(channel, []).append(index)
    problems: list[Problem] = []
    warnings: list[str] = []
    for name, claiming in claims.items():
        rivals = _fitting(name, claiming, meanings)
        if len(rivals) == 1:
            owners[name] = rivals[0]
            continue
        these = " and ".join(repr(headers[i]) for i in rivals[:_MOST_RIVALS])
        if name in WATCHED:
            owners[name] = rivals[0]
            sentence = f"{these} both name {name}: say which is meant"
            meant = tuple(Remedy("map", headers[rival], name) for rival in rivals)
            problems.append(Problem(sentence, meant))
        else:
            warnings.append(
                f"{these} both name {name}, so neither is taken for it: say which is meant."
            )
    return owners, problems, warnings


def _fitting(name: str, claiming: Sequence[int], meanings: Sequence[Meaning]) -> Sequence[int]:
    """Leave out columns in a unit of another kind, then absolute pressures beside a gauge one."""
    dimension = dimension_of(name)
    in_unit = [
        i
        for i in claiming
        if not meanings[i].unit or parse(meanings[i].unit, dimension=dimension) is not None
    ] or claiming
    return [i for i in in_unit if not meanings[i].absolute] or in_unit


def _stated(meaning: Meaning, row: str, glued: str) -> tuple[str, UnitBasis]:
    """Return the unit that the log states for a column, and where.

    Args:
        meaning: of its header.
        row: its cell in the row of units, "" where there is none.
        glued: the unit behind each of its values, "" where there is none.
    """
    row = "" if row in _NO_UNIT else row.strip("[](){} ")
    if glued and (not row or parse(row) == parse(glued)):
        stated = _stated(meaning, glued, "")
        return (glued, "values") if stated[1] == "units row" else stated
    if not row:
        return meaning.unit, "name" if meaning.by_name else "header"
    if not meaning.unit or meaning.by_name:
        return row, "units row"
    here, there = parse(meaning.unit), parse(row)
    if here is not None and there is not None and here.symbol == there.symbol:
        return meaning.unit, "header"
    return f"{meaning.unit} / {row}", ""


def _known(
    index: int,
    header: str,
    name: str,
    stated: tuple[str, UnitBasis],
    instructions: Instructions,
    *,
    absolute: bool,
) -> Column:
    """Return a column that is a canonical channel or the time, with its unit if that is known."""
    text, basis = stated
    dimension = dimension_of(name)
    unit = parse(text, dimension=dimension) if text else None
    given = instructions.unit_given(name, dimension)
    if given is not None:
        unit, basis = given
    elif not text and dimension == "number":
        unit, basis = channels()[name].unit, "dimensionless"
    channel = None if name == TIME else channels()[name]
    if unit is not None and channel is not None and channel.reference == "gauge":
        absolute = unit.reference == "absolute" or (absolute and unit.reference is None)
    return Column(index, header, name, channel, unit, text, basis if unit else "", absolute)


def _without_unit(column: Column, channel: Channel) -> str:
    stated = f" states {column.unit_text!r}, which is no unit of it" if column.unit_text else ""
    return (
        f"{column.header!r} is kept as it stands, not as {channel.title}: the log"
        f"{stated or ' does not state its unit'}; state it, like "
        f"{channel.unit.symbol}, to have it read as that."
    )


def _no_time(headers: Sequence[str], likely: Sequence[Likely]) -> Problem:
    remedies = [Remedy("map", headers[each.index], TIME) for each in likely]
    if likely:
        remedies += [Remedy("unit", TIME, unit) for unit in likely[0].units]
    else:
        remedies.append(Remedy("unit", TIME))
    sentence = f"no column is named as time (it has {listed(headers)}): say which it is"
    rate = ", or, where it has none, how many samples a second were logged, like 20Hz"
    return Problem(sentence + _like(headers, likely) + ("" if likely else rate), tuple(remedies))


def _no_speed(headers: Sequence[str], likely: Sequence[Likely]) -> Problem:
    named = [Remedy("map", headers[each.index], "rpm") for each in likely]
    named += [Remedy("unit", "rpm", unit) for each in likely[:1] for unit in each.units]
    sentence = (
        "no column is named as engine speed, without which nothing can be judged (it has "
        f"{listed(headers)}): say which it is"
    )
    return Problem(sentence + _like(headers, likely), tuple(named or [Remedy("map", value="rpm")]))


def _like(headers: Sequence[str], likely: Sequence[Likely]) -> str:
    """Say which columns may be meant, with the values seen in them."""
    each = [f"{headers[one.index]!r} ({one.low:g} to {one.high:g})" for one in likely]
    return f"; by their first values it may be {' or '.join(each)}" if each else ""


def _with_unique_names(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Make the names of columns that are no canonical channel unique and fit for a table."""
    used = {TIME, "time_s", *channels()}
    named: list[Column] = []
    for column in columns:
        if column.channel is not None:
            named.append(column)
            continue
        name, number = column.name, 2
        while name in used:
            name, number = f"{column.name}_{number}", number + 1
        used.add(name)
        named.append(replace(column, name=name))
    return tuple(named)


def _own_name(header: str, index: int) -> str:
    plain = unicodedata.normalize("NFKD", header).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")
    if not name or name[0].isdigit():
        name = f"column_{name or index + 1}"
    return f"{name}_column" if name.endswith("_flag") else name
