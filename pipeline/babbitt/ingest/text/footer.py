"""Lines at the end of a log that are no samples: sums, remarks, and rows that were never filled."""

from __future__ import annotations

from dataclasses import dataclass

from babbitt.ingest.text.dialect import Dialect, Line, cut_lines, is_figure
from babbitt.ingest.text.numerals import is_number
from babbitt.ingest.time.dates import read_moment

_LOOKED_AT = (1 << 12, 1 << 16)
"""Bytes at the end in which a footer is sought; the second only where all of the first are one."""


@dataclass(frozen=True)
class Footer:
    """What stands below the rows of a log.

    Attributes:
        offset: byte at which it begins.
        lines: how many there are that are not blank; none where the rows go on to the end.
        first_line: line of the file in which it begins.
    """

    offset: int
    lines: int
    first_line: int

    def sentence(self) -> str:
        """Say what was left out, "" where nothing was."""
        if not self.lines:
            return ""
        if self.lines == 1:
            return f"The last line, line {self.first_line}, is no sample; left out."
        which = f"The last {self.lines:,} lines, from line {self.first_line} on,"
        return f"{which} are no samples; left out."


def find_footer(data: bytes, first_line: int, dialect: Dialect, time: int | None) -> Footer:
    """Find the lines at the end of a log that are no samples.

    They hold more text than numbers; or no time, such as sums under the columns; or are alike to
    the last sign, with a time before that of the row above them, as in a file whose space was laid
    out before it was filled.

    Args:
        data: the last lines of the log, in UTF-8.
        first_line: line of the file at which they begin.
        dialect: of the log.
        time: column of the time, None where there is none.
    """
    if time is not None and not _tells(dialect, time):
        time = None
    for size in _LOOKED_AT:
        start = data.find(b"\n", len(data) - size) + 1 if size < len(data) else 0
        tail_line = first_line + data.count(b"\n", 0, start)
        text = data[start:].decode(errors="replace")
        lines = cut_lines(text, dialect.delimiter, first_line=tail_line)
        rows = len(lines)
        while rows and not _is_sample(lines[rows - 1], dialect, time):
            rows -= 1
        rows = _without_unfilled(lines[:rows], dialect, time)
        if rows:
            break
    if rows in (0, len(lines)):
        return Footer(len(data), 0, tail_line)
    line = lines[rows].number
    offset = start
    for _ in range(line - tail_line):
        offset = data.find(b"\n", offset) + 1
    return Footer(offset, len(lines) - rows, line)


def _tells(dialect: Dialect, time: int) -> bool:
    """Whether the first rows have times that can be told from text."""
    return 2 * sum(is_figure(row.cells[time]) for row in dialect.rows) > len(dialect.rows)


def _is_sample(line: Line, dialect: Dialect, time: int | None) -> bool:
    if time is None or len(line.cells) != dialect.cells:
        return line.is_row
    return is_figure(line.cells[time])


def _without_unfilled(lines: list[Line], dialect: Dialect, time: int | None) -> int:
    """Return how many lines stand before those that are alike and whose time is too early.

    None where all are alike, so that more must be looked at.
    """
    if time is None or not lines:
        return len(lines)
    last = lines[-1].cells
    rows = len(lines)
    while rows and lines[rows - 1].cells == last:
        rows -= 1
    empty = all(not cell or (is_number(cell) and not set(cell) & set("123456789")) for cell in last)
    if len(lines) - rows < 2 and not empty:
        return len(lines)
    if not rows:
        return 0
    above = lines[rows - 1].cells
    if not len(above) == len(last) == dialect.cells:
        return len(lines)
    before, then = _time(above[time]), _time(last[time])
    return rows if before is not None and then is not None and then < before else len(lines)


def _time(cell: str) -> float | None:
    """Return the time in a cell for comparison with its neighbours; None where there is none."""
    if is_number(cell):
        digits = cell.replace(" ", "").replace(",", ".")
        return float(digits) if digits.count(".") < 2 else None
    moment = read_moment(cell, 0)
    if moment is None:
        return None
    return 0.0 if moment.clock_s is None else moment.clock_s
