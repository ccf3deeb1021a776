"""The shape of a log's table: separators, notes above the header, header, units, first row."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.ingest.headers import is_time_header
from pipeline.ingest.source import Problem, refusal
from pipeline.ingest.text import HEAD_BYTES, Text, line_starts
from pipeline.units import parse

Delimiter = Literal[",", ";", "\t"]
DecimalMark = Literal[".", ","]

SPOKEN: dict[Delimiter, str] = {",": "commas", ";": "semicolons", "\t": "tabs"}

BLANK_CELLS = (
    "",
    "-",
    "--",
    "---",
    "NaN",
    "nan",
    "NAN",
    "N/A",
    "n/a",
    "#N/A",
    "NA",
    "null",
    "NULL",
)
"""Cells that stand for no value; so do those of number signs alone, as spreadsheets fill them."""

_LOOKED_AT = (1 << 16, HEAD_BYTES)
"""Bytes looked at; the second only where the first hold no table."""


def number_pattern(marks: str) -> str:
    """Return the regular expression of a number whose decimal mark is one of `marks`."""
    return rf"[+-]?(?:\d+(?:[{marks}]\d*)?|[{marks}]\d+)(?:[eE][+-]?\d+)?"


_number = re.compile(number_pattern(".,"))
_blank = re.compile(r"#+")
_CLOCK = r"\d{1,3}:\d{2}(?::\d{2})?(?:[.,]\d+)?"
_moment = re.compile(
    rf"{_CLOCK}|\d{{1,4}}[-/.]\d{{1,2}}[-/.]\d{{1,4}}(?:[T ]{_CLOCK} *(?:[A-Z]+|[+-][\d:]+)?)?"
)
_thousands = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+")


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
        notes: lines above the header that are not blank.
        headers: of the columns, as written; shape (columns,).
        header_line: line of the header, counted from 1.
        units: text of the units row for each column, "" where there is none; shape (columns,).
        first_line: line of the first row.
        offset: byte of the text's body at which the first row starts.
        cells: number of cells in a row; one more than columns where rows end in a delimiter.
        textual: columns without a single number among the rows looked at.
        why: what was decided and on what grounds, a line each.
    """

    delimiter: Delimiter
    decimal: DecimalMark
    notes: tuple[Line, ...]
    headers: tuple[str, ...]
    header_line: int
    units: tuple[str, ...]
    first_line: int
    offset: int
    cells: int
    textual: frozenset[int]
    why: tuple[str, ...]


def is_blank(cell: str) -> bool:
    """Whether a cell stands for no value."""
    return cell in BLANK_CELLS or _blank.fullmatch(cell) is not None


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
        delimiter, lines = max(
            ((mark, _cut(head, mark)) for mark in SPOKEN), key=lambda cut: _shape(cut[1])
        )
        likeness, width = _shape(lines)
        if likeness:
            return _describe(text, name, delimiter, lines, width)
    raise refusal(name, (_no_rows(head),))


def _cut(head: str, delimiter: str) -> list[Line]:
    """Cut the head into lines that are not blank, of cells without the blanks around them."""
    reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
    lines: list[Line] = []
    number = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append(_line(number, cells))
            number = reader.line_num + 1
    except csv.Error:
        return lines  # an unclosed quote swallows the rest: what was cut before it still counts
    return lines


def _line(number: int, raw: Sequence[str]) -> Line:
    cells = tuple(cell.strip() for cell in raw)
    filled = [cell for cell in cells if not is_blank(cell)]
    figures = sum(bool(_number.fullmatch(cell) or _moment.fullmatch(cell)) for cell in filled)
    return Line(number, cells, figures, len(filled) - figures)


def _shape(lines: Sequence[Line]) -> tuple[int, int]:
    """Return how much the lines look like rows of one table, and how many cells these have.

    The measure is the numbers in rows of the usual width less the words in them; 0 without rows.
    """
    rows = [line for line in lines if len(line.cells) > 1 and line.is_row]
    widths = Counter(len(row.cells) for row in rows)
    width = widths.most_common(1)[0][0] if widths else 0
    return sum(row.figures - row.words for row in rows if len(row.cells) == width), width


def _describe(
    text: Text, name: str, delimiter: Delimiter, lines: Sequence[Line], width: int
) -> Dialect:
    first = _first_row(lines, width)
    rows = [line for line in lines[first:] if len(line.cells) == width]
    units_at = first - 1 if _is_units_row(lines, first, width - 1) else None
    header_at = first - 1 if units_at is None else units_at - 1
    header = lines[max(header_at, 0)]
    trailing = all(row.cells[-1] == "" for row in rows) and not any(header.cells[width - 1 :])
    columns = width - 1 if trailing else width
    if header_at < 0 or not _can_be_header(header, columns):
        raise refusal(name, (_no_header(lines[first]),))
    decimal, why_decimal = _decimal_mark(rows, delimiter)
    units = () if units_at is None else lines[units_at].cells
    why = [
        f"Delimiter: {SPOKEN[delimiter]}, by the {len(rows):,} first rows of {columns} columns.",
        why_decimal,
        f"Header: line {header.number}; rows from line {lines[first].number}.",
    ]
    if units_at is not None:
        why.append(f"Units: in line {lines[units_at].number}.")
    if trailing:
        why.append("Every row ends in a delimiter; no column follows it.")
    return Dialect(
        delimiter=delimiter,
        decimal=decimal,
        notes=tuple(lines[:header_at]),
        headers=header.cells[:columns],
        header_line=header.number,
        units=tuple(units[i] if i < len(units) else "" for i in range(columns)),
        first_line=lines[first].number,
        offset=_offset_of_line(text, lines[first].number),
        cells=width,
        textual=frozenset(i for i in range(columns) if _holds_text_only(rows, i)),
        why=tuple(why),
    )


def _first_row(lines: Sequence[Line], width: int) -> int:
    first = next(i for i, line in enumerate(lines) if len(line.cells) == width and line.is_row)
    # Rows with as much text as numbers may stand above the first clear one.
    while first and len(lines[first - 1].cells) == width and lines[first - 1].figures:
        if _is_units_row(lines, first, width):
            break
        first -= 1
    return first


def _can_be_header(line: Line, columns: int) -> bool:
    spare = line.cells[columns:]
    return line.words > line.figures and len(line.cells) >= columns and not any(spare)


def _is_units_row(lines: Sequence[Line], first: int, columns: int) -> bool:
    """Whether the line above the first row states units, with a header above it."""
    if first < 2 or len(lines[first - 2].cells) < columns or lines[first - 2].is_row:
        return False
    filled = [cell for cell in lines[first - 1].cells if cell]
    if any(is_time_header(cell) for cell in filled):
        return False
    known = [cell for cell in filled if parse(cell) is not None]
    return 2 * len(known) >= max(len(filled), 1) and any(
        not _number.fullmatch(cell) and cell != "-" for cell in known
    )


def _decimal_mark(rows: Sequence[Line], delimiter: Delimiter) -> tuple[DecimalMark, str]:
    numbers = [cell for row in rows for cell in row.cells if _number.fullmatch(cell)]
    points = sum("." in cell for cell in numbers)
    with_comma = [cell for cell in numbers if "," in cell]
    grouped = delimiter == "," and all(_thousands.fullmatch(cell) for cell in with_comma)
    if len(with_comma) > points and not grouped:
        return ",", f"Decimal mark: comma, in {len(with_comma):,} numbers of the first rows."
    if points:
        return ".", f"Decimal mark: point, in {points:,} numbers of the first rows."
    return ".", "Decimal mark: none in the first rows; point taken."


def _holds_text_only(rows: Sequence[Line], column: int) -> bool:
    filled = [row.cells[column] for row in rows if not is_blank(row.cells[column])]
    return bool(filled) and not any(_number.fullmatch(cell) for cell in filled)


def _offset_of_line(text: Text, line: int) -> int:
    return int(line_starts(text.head(HEAD_BYTES))[line - 2]) if line > 1 else 0


def _no_header(row: Line) -> Problem:
    return Problem(
        f"no line above line {row.number}, the first with numbers, names its {len(row.cells)} "
        "columns: export the log with a header"
    )


def _no_rows(head: str) -> Problem:
    for delimiter in SPOKEN:
        for line in _cut(head, delimiter):
            if len(line.cells) > 1 and any(is_time_header(cell) for cell in line.cells):
                return Problem(
                    f"there is a header in line {line.number} and not one sample under it: "
                    "export the log again"
                )
    return Problem(
        "no table of numbers with commas, semicolons or tabs was found in it: export the log as CSV"
    )
