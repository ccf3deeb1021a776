"""The shape of a log's table: separators, notes above the header, header, units, first row."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import zip_longest
from typing import Literal

from babbitt.ingest.source import Problem, refusal
from babbitt.ingest.text.decode import HEAD_BYTES, Text, line_starts
from babbitt.ingest.text.headers import fold, is_time_header, join_groups, read_header, source_words
from babbitt.ingest.text.numerals import DecimalMark, find_marks, is_blank, is_number
from babbitt.ingest.text.wording import tidy
from babbitt.model.units import parse

Delimiter = Literal[",", ";", "\t"]

SPOKEN: dict[Delimiter, str] = {",": "commas", ";": "semicolons", "\t": "tabs"}

_LOOKED_AT = (1 << 14, 1 << 16, HEAD_BYTES)
"""Bytes looked at; more only where the fewer hold too few rows."""

_ENOUGH_ROWS = 20

_CLOCK = r"\d{1,3}:\d{2}(?::\d{2})?(?:[.,]\d+)?(?: *[AaPp]\.?[Mm]\.?)?"
_moment = re.compile(
    rf"{_CLOCK}|"
    r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[-. ]?[A-Za-z]{3,9}[-. ]\d{2,4})"
    rf"(?:[T ,]+{_CLOCK} *(?:[A-Z]+|[+-][\d:]+)?)?",
    re.ASCII,
)

_glued = re.compile(r"(?P<number>[+-]?[\d.,' ]*\d) *(?P<unit>[^\d\s.,'+-]\S*(?: \S+)?)")


@dataclass(frozen=True)
class Line:
    """One line of the head, cut into cells.

    Attributes:
        number: counted from 1 in the file.
        cells: without the blanks around them.
        figures: how many cells are numbers, dates or clock times.
        words: how many are other text.
    """

    number: int
    cells: tuple[str, ...]
    figures: int
    words: int

    @property
    def is_row(self) -> bool:
        """Whether it is a row of the table, by its cells."""
        return self.figures > self.words


@dataclass(frozen=True)
class Dialect:
    """How a log's table is written.

    Attributes:
        delimiter: between cells.
        decimal: the mark in its numbers.
        grouping: every mark between thousands in its numbers, "" where there is none.
        notes: lines above the header that are not blank.
        headers: of the columns, as written, behind their group where a row of groups makes the name
            whole; "" for a column without a name; shape (columns,).
        header_line: line of the header, counted from 1.
        header_bytes: that line in UTF-8, without its end.
        glued: unit behind every value of a column, which its cells in `rows` are without; "" where
            there is none; shape (columns,).
        units: text of the units row for each column, "" where there is none; shape (columns,).
        rows: the first rows.
        first_line: line of the first row.
        offset: byte of the text's body at which the first row starts.
        cells: number of cells in a row; one more than columns where rows end in a delimiter.
        textual: columns without a single number among the first rows.
        why: what was decided and on what grounds, a line each.
    """

    delimiter: Delimiter
    decimal: DecimalMark
    grouping: str
    notes: tuple[Line, ...]
    headers: tuple[str, ...]
    header_line: int
    header_bytes: bytes
    glued: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[Line, ...]
    first_line: int
    offset: int
    cells: int
    textual: frozenset[int]
    why: tuple[str, ...]


def is_figure(cell: str) -> bool:
    """Whether a cell is a number, with a unit behind it or not, a date or a clock time."""
    return is_number(cell) or _moment.fullmatch(cell) is not None or glued_unit(cell) != ""


@lru_cache(maxsize=1 << 12)
def glued_unit(cell: str) -> str:
    """Return the unit that stands right behind a number, as written; "" where none does."""
    match = _glued.fullmatch(cell)
    return match["unit"] if match and is_number(match["number"]) and parse(match["unit"]) else ""


def find_dialect(text: Text, name: str) -> Dialect:
    """Find how the table of a log is written.

    The delimiter is the one that cuts most numbers out of lines with equally many cells; the header
    is the line above the first such line, with a row of units between them or not.

    Args:
        text: of the log.
        name: of the file, for errors.

    Raises:
        LogRefusedError: there is no table, no header, or no row under it.
    """
    for size in _LOOKED_AT:
        head = text.head(size).decode(text.body_encoding, errors="replace")
        cuts = [(mark, cut_lines(head, mark)) for mark in SPOKEN if mark in head]
        delimiter, lines = max(cuts, key=lambda cut: _shape(cut[1]), default=(",", []))
        _, rows, width = _shape(lines)
        wanted = _ENOUGH_ROWS if size < len(text.head(HEAD_BYTES)) else 1
        if rows >= wanted:
            return _describe(text, name, delimiter, lines, width)
    raise refusal(name, (_no_rows(head),))


def cut_lines(text: str, delimiter: str, *, first_line: int = 1) -> list[Line]:
    """Cut text into lines that are not blank, of cells without the blanks around them.

    Args:
        text: whole lines.
        delimiter: between cells.
        first_line: number of the first of them in the file.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    lines: list[Line] = []
    number = first_line
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append(_line(number, cells))
            number = first_line + reader.line_num
    except csv.Error:
        return lines  # an unclosed quote swallows the rest: what was cut before it still counts
    return lines


def _line(number: int, raw: Sequence[str]) -> Line:
    cells = tuple(cell.strip() for cell in raw)
    filled = [cell for cell in cells if not is_blank(cell)]
    figures = sum(is_figure(cell) for cell in filled)
    return Line(number, cells, figures, len(filled) - figures)


def _shape(lines: Sequence[Line]) -> tuple[int, int, int]:
    """Return how much the lines look like rows of one table, how many they are, and their cells.

    The measure is the numbers in rows of the usual width less the words in them; 0 without rows.
    """
    rows = [line for line in lines if len(line.cells) > 1 and line.is_row]
    widths = Counter(len(row.cells) for row in rows)
    width = widths.most_common(1)[0][0] if widths else 0
    usual = [row for row in rows if len(row.cells) == width]
    return sum(row.figures - row.words for row in usual), len(usual), width


def _describe(
    text: Text, name: str, delimiter: Delimiter, lines: Sequence[Line], width: int
) -> Dialect:
    first = _first_row(lines, width)
    rows = [line for line in lines[first:] if len(line.cells) == width]
    header_at, units_at, sources_at = _heads(lines, first, width - 1)
    header = lines[max(header_at, 0)]
    trailing = all(row.cells[-1] == "" for row in rows) and not any(header.cells[width - 1 :])
    columns = width - 1 if trailing else width
    if header_at < 0 or not _can_be_header(header, columns, rows, delimiter):
        raise refusal(name, (_no_header(lines[first]),))
    names = _filled_up(header.cells, columns)
    groups = _groups(lines, header_at, columns)
    headers = None if groups is None else join_groups(groups, names)
    notes = lines[: header_at if headers is None else header_at - 1]
    units = () if units_at is None else lines[units_at].cells
    glued = _glued_units([[row.cells[i] for row in rows] for i in range(columns)])
    rows = _without_units(rows, glued)
    by_column = [[row.cells[i] for row in rows] for i in range(columns)]
    head = text.head(HEAD_BYTES)
    later = _later_rows(head.decode(text.body_encoding, errors="replace"), delimiter, width)
    later = _without_units(later, glued)
    marks = find_marks(
        [cells + [row.cells[i] for row in later] for i, cells in enumerate(by_column)], delimiter
    )
    starts = [0, *line_starts(head).tolist()]
    header_bytes = head[starts[header.number - 1] : starts[header.number]].rstrip(b"\r\n")
    shape = f"by the {len(rows):,} first rows of {columns} columns"
    why = [
        f"Delimiter: {SPOKEN[delimiter]}, {shape}.",
        *marks.why,
        f"Header: line {header.number}; rows from line {lines[first].number}.",
    ]
    if units_at is not None:
        why.append(f"Units: in line {lines[units_at].number}.")
    if sources_at is not None:
        why.append(f"Sources: in line {lines[sources_at].number}, no part of the names.")
    if any(glued):
        why.append("Units: behind every value of some columns.")
    if headers is not None:
        why.append(f"Groups: in line {header.number - 1}, put before the names.")
    if trailing:
        why.append("Every row ends in a delimiter; no column follows it.")
    return Dialect(
        delimiter=delimiter,
        decimal=marks.decimal,
        grouping=marks.grouping,
        notes=tuple(notes),
        headers=names if headers is None else headers,
        header_line=header.number,
        header_bytes=header_bytes.decode(text.body_encoding, errors="replace").encode(),
        glued=glued,
        units=_filled_up(units, columns),
        rows=tuple(rows),
        first_line=lines[first].number,
        offset=starts[lines[first].number - 1],
        cells=width,
        textual=frozenset(i for i, cells in enumerate(by_column) if _hold_text_only(cells)),
        why=tuple(why),
    )


def _heads(lines: Sequence[Line], first: int, columns: int) -> tuple[int, int | None, int | None]:
    """Return which lines above the first row are the header, units and sources of the channels.

    A row of sources knows no channels, or fewer than the line above it.
    """
    units_at = first - 1 if _is_units_row(lines, first, columns) else None
    header_at = first - 1 if units_at is None else units_at - 1
    if header_at < 1:
        return header_at, units_at, None
    above = header_at - 1
    if units_at is None and _is_units_row(lines, header_at, columns):
        above = header_at - 2
    one, other = lines[above], lines[header_at]
    if (
        len(one.cells) < columns
        or one.figures
        or other.number - one.number != header_at - above
        or _channels_in(one.cells) < max(2, 2 * _channels_in(other.cells))
        or not any(fold(cell) in source_words() for cell in other.cells)
    ):
        return header_at, units_at, None
    return above, units_at if above == header_at - 1 else header_at - 1, header_at


def _glued_units(columns: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Return the unit behind most of the values of each column, "" where there is none or two."""
    units: list[str] = []
    for cells in columns:
        filled = [cell for cell in cells if not is_blank(cell)]
        behind = [unit for cell in filled if not is_number(cell) and (unit := glued_unit(cell))]
        one = len(set(behind)) == 1 and 2 * len(behind) > len(filled)
        units.append(behind[0] if one else "")
    return tuple(units)


def _without_units(rows: Sequence[Line], glued: Sequence[str]) -> list[Line]:
    if not any(glued):
        return list(rows)
    return [
        replace(
            row,
            cells=tuple(
                cell.removesuffix(unit).rstrip() if unit else cell
                for cell, unit in zip_longest(row.cells, glued, fillvalue="")
            ),
        )
        for row in rows
    ]


def _later_rows(head: str, delimiter: Delimiter, width: int) -> list[Line]:
    """Return rows from the end of the head: a log may begin with the engine still, all zeros."""
    if len(head) <= _LOOKED_AT[0]:
        return []
    end = head[max(_LOOKED_AT[0], len(head) - _LOOKED_AT[0]) :]
    lines = cut_lines(end[end.find("\n") + 1 :], delimiter)
    return [line for line in lines if len(line.cells) == width and line.is_row]


def _filled_up(cells: Sequence[str], columns: int) -> tuple[str, ...]:
    return tuple(tidy(cells[i]) if i < len(cells) else "" for i in range(columns))


def _first_row(lines: Sequence[Line], width: int) -> int:
    first = next(i for i, line in enumerate(lines) if len(line.cells) == width and line.is_row)
    # Rows with as much text as numbers may stand above the first clear one.
    while first and len(lines[first - 1].cells) == width and lines[first - 1].figures:
        if _is_units_row(lines, first, width):
            break
        first -= 1
    return first


def _can_be_header(line: Line, columns: int, rows: Sequence[Line], delimiter: Delimiter) -> bool:
    """Whether a line may name so many columns.

    The last columns may have no name under a header that names the time, unless they may come of
    decimal commas between commas.
    """
    if line.words <= line.figures or any(line.cells[columns:]):
        return False
    if len(line.cells) >= columns:
        return True
    cut_whole = delimiter != "," or any("." in cell for row in rows for cell in row.cells)
    return len(line.cells) > 1 and cut_whole and any(is_time_header(cell) for cell in line.cells)


def _groups(lines: Sequence[Line], header_at: int, columns: int) -> tuple[str, ...] | None:
    """Return the group of each column, where the line above the header is a row of groups.

    In such a row every cell is filled, or there are blanks, for the columns that share the group
    before them, between filled ones; a note that was filled up with delimiters has them behind.
    """
    if header_at < 1:
        return None
    line, header = lines[header_at - 1], lines[header_at]
    cells = line.cells[:columns]
    if line.number != header.number - 1 or line.figures or any(line.cells[columns:]):
        return None
    filled = [i for i, cell in enumerate(cells) if cell]
    only_first = filled == list(range(len(filled))) and len(filled) < columns
    if len(filled) < 2 or len(cells) < columns or only_first:
        return None
    groups: list[str] = []
    for cell in map(tidy, cells):
        groups.append(cell or (groups[-1] if groups else ""))
    return tuple(groups)


def _is_units_row(lines: Sequence[Line], first: int, columns: int) -> bool:
    """Whether the line above the first row states units, with a header above it."""
    if first < 2 or len(lines[first - 2].cells) < columns or lines[first - 2].is_row:
        return False
    filled = [cell for cell in lines[first - 1].cells if cell]
    if any(is_time_header(cell) for cell in filled) or (
        _channels_in(filled) > _channels_in(lines[first - 2].cells)
    ):
        return False
    known = [cell for cell in filled if parse(cell) is not None]
    return 2 * len(known) >= max(len(filled), 1) and any(
        not is_number(cell) and cell != "-" for cell in known
    )


def _channels_in(cells: Sequence[str]) -> int:
    return sum(read_header(cell).channel is not None for cell in cells)


def _hold_text_only(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if not is_blank(cell)]
    return bool(filled) and not any(is_number(cell) for cell in filled)


def _no_header(row: Line) -> Problem:
    return Problem(
        f"no line above line {row.number}, the first with numbers, names its {len(row.cells)} "
        "columns: export the log with a header"
    )


def _no_rows(head: str) -> Problem:
    for delimiter in SPOKEN:
        for line in cut_lines(head, delimiter):
            if len(line.cells) > 1 and any(is_time_header(cell) for cell in line.cells):
                return Problem(
                    f"there is a header in line {line.number} and not one sample under it: "
                    "export the log again"
                )
    return Problem(
        "no table of numbers with commas, semicolons or tabs was found in it: export the log as CSV"
    )
