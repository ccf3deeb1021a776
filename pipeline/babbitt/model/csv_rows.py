"""Tables that people write as CSV, whatever their spreadsheet puts between cells: rows by line."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from babbitt.errors import RegisterError

_DELIMITERS = (",", ";", "\t")
_INTEGER = re.compile(r"[+-]?[0-9]{1,15}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


@dataclass(frozen=True)
class CsvRows:
    """The filled cells of a table.

    Attributes:
        rows: line that the row begins on, counted from 1 -> column -> cell without blanks around
            it. Blank cells are left out, rows of blank cells too.
        faults: line of a row that does not fit the header -> why, as a clause.
        decimal_comma: whether numbers may have one: the comma is not between cells.
    """

    rows: dict[int, dict[str, str]]
    faults: dict[int, str]
    decimal_comma: bool


def read_csv_rows(text: str, *, source: str, columns: Sequence[str]) -> CsvRows:
    """Read a CSV table with a header of `columns`, in any order and without those not used.

    Args:
        text: of the file; comma, semicolon or tab between cells.
        source: file name to quote in errors.
        columns: those that it may have.

    Raises:
        RegisterError: the header has other columns, or the cells cannot be told apart.
    """
    body = text.removeprefix("\ufeff")
    first = next((line for line in io.StringIO(body, newline="") if line.strip()), "")
    delimiter = max(_DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, strict=True)
    header: list[str] = []
    rows: dict[int, dict[str, str]] = {}
    faults: dict[int, str] = {}
    line = 1
    try:
        for raw in reader:
            cells = [cell.strip() for cell in raw]
            if any(cells) and not header:
                header = _header(cells, columns, f"{source}, line {line}")
            elif any(cells) and len(cells) != len(header):
                faults[line] = (
                    f"it has {len(cells)} cells and the header {len(header)}: "
                    "put cells that hold a delimiter in quotes, and fill up short rows"
                )
            elif any(cells):
                rows[line] = {name: cell for name, cell in zip(header, cells, strict=True) if cell}
            line = reader.line_num + 1
    except csv.Error as error:
        raise RegisterError(
            f"{source}, line {line}: its cells cannot be told apart ({error}): mend the quotes."
        ) from error
    return CsvRows(rows, faults, delimiter != ",")


def read_number(cell: str, *, decimal_comma: bool) -> int | float | None:
    """Return the number that a cell holds; None where it holds none."""
    if _INTEGER.fullmatch(cell):
        return int(cell)
    plain = cell.replace(",", ".") if decimal_comma else cell
    return float(plain) if _DECIMAL.fullmatch(plain) else None


def _header(cells: list[str], columns: Sequence[str], place: str) -> list[str]:
    faults = ["a column has no name: name it or take it away"] if "" in cells else []
    for name in dict.fromkeys(filter(None, cells)):
        if name not in columns:
            close = difflib.get_close_matches(name, columns, n=1, cutoff=0.5)
            hint = f"did you mean {close[0]!r}?" if close else f"known: {', '.join(columns)}"
            faults.append(f"unknown column {name!r} ({hint})")
        elif cells.count(name) > 1:
            faults.append(f"column {name!r} is there twice: take one away")
    if faults:
        raise RegisterError(f"{place}: {'; '.join(faults)}.")
    return cells
