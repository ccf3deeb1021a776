"""A logger that was restarted and went on writing to the same file: its header comes again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from babbitt.ingest.source import Problem, refusal
from babbitt.ingest.text.dialect import Dialect, Line, cut_lines
from babbitt.ingest.text.headers import is_time_header
from babbitt.ingest.time.dates import DayOrder, Moment, ambiguous_date, note_of_start, read_dates

CLOCK_SET_S = 10.0
"""What stands in the place of a time that nobody knows, long enough to be a gap at usual rates."""

_DAY_S = 86_400.0
_ENDS = (b"\r", b"\n", b"")


@dataclass(frozen=True)
class Restart:
    """A header that comes again.

    Attributes:
        line: of the file in which it stands.
        notes: lines above it, as they stood above the first.
    """

    line: int
    notes: tuple[Line, ...]


@dataclass(frozen=True)
class Piece:
    """Rows of a log without a header among them.

    Attributes:
        data: whole lines, UTF-8.
        first_line: line of the file at which they begin.
        restart: the header right above them, None where rows stand there.
    """

    data: bytes
    first_line: int
    restart: Restart | None


def split_at_headers(
    blocks: Iterable[tuple[bytes, int]], dialect: Dialect, name: str
) -> Iterator[Piece]:
    """Split the rows of a log where its header comes again, with its notes and its row of units.

    Lines at the end of a block that are no rows are held back, since a header may follow.

    Args:
        blocks: whole lines in UTF-8, and the line of the file at which they begin.
        dialect: of the log.
        name: of the file, for errors.

    Raises:
        LogRefusedError: another header comes, so that the rows below it are of other columns.
    """
    held, held_from = b"", 0
    for data, first_line in blocks:
        if held:
            data, first_line = held + data, held_from
        end = _end_of_rows(data, dialect)
        held = data[end:]
        held_from = first_line + data.count(b"\n", 0, end) if held else 0
        yield from _pieces(data[:end], first_line, dialect, name)
    if held:
        yield from _pieces(held, held_from, dialect, name)


def shift_after(
    restart: Restart, notes: tuple[Line, ...], order: DayOrder | None, name: str
) -> float | None:
    """Return the seconds from the first start of a logger to a later one, by the notes above each.

    Args:
        restart: the later one.
        notes: above the first header.
        order: of day, month and year in figures, None where nobody said.
        name: of the file, for errors.

    Returns:
        None where they do not tell: one lacks the clock time, or only one names the date.

    Raises:
        LogRefusedError: the dates can be read in several ways.
    """
    first, again = note_of_start(notes), note_of_start(restart.notes)
    if first is None or again is None or first.clock_s is None or again.clock_s is None:
        return None
    if bool(first.date) != bool(again.date):
        return None
    if not first.date:
        return (_utc_s(again) - _utc_s(first)) % _DAY_S
    days = 0
    if first.date != again.date:
        readings = read_dates((first.date, again.date), order)
        for moment, each in zip((first, again), readings, strict=True):
            if len(each) > 1:
                raise ambiguous_date(moment.date, each, moment.line, name)
        if not all(readings):
            return None
        days = (readings[1][0] - readings[0][0]).days
    return days * _DAY_S + _utc_s(again) - _utc_s(first)


def restarted(line: int) -> str:
    """Say that time begins anew in a line of the log, nobody knows how much later."""
    return (
        f"The logger was restarted without a clock in line {line}: how long it was off is not "
        f"known. What follows is placed {CLOCK_SET_S:g} s later, and nothing counts between."
    )


def _utc_s(moment: Moment) -> float:
    offset = None if moment.zone is None else moment.zone.utcoffset(None)
    return (moment.clock_s or 0.0) - (0.0 if offset is None else offset.total_seconds())


def _pieces(data: bytes, first_line: int, dialect: Dialect, name: str) -> Iterator[Piece]:
    begin, restart = 0, None
    for at, end in _headers(data, first_line, dialect, name):
        above = _above(data, begin, at, dialect)
        if data[begin:above].strip():
            yield Piece(data[begin:above], first_line + data.count(b"\n", 0, begin), restart)
        line = first_line + data.count(b"\n", 0, at)
        text = data[above:at].decode(errors="replace")
        first_note = first_line + data.count(b"\n", 0, above)
        notes = tuple(cut_lines(text, dialect.delimiter, first_line=first_note))
        begin, restart = _below(data, end, dialect), Restart(line, notes)
    if data[begin:].strip():
        yield Piece(data[begin:], first_line + data.count(b"\n", 0, begin), restart)


def _headers(
    data: bytes, first_line: int, dialect: Dialect, name: str
) -> Iterator[tuple[int, int]]:
    """Yield where each header begins, and where the line behind it does."""
    first_cell = dialect.header_bytes.split(dialect.delimiter.encode())[0]
    needle = first_cell if len(first_cell) > 1 else dialect.header_bytes
    at = data.find(needle)
    while at >= 0:
        if at == 0 or data[at - 1 : at] in _ENDS:
            end = _next_line(data, at)
            line = data[at:end].rstrip(b"\r\n")
            if line == dialect.header_bytes:
                yield at, end
            elif _is_other_header(line, dialect):
                number = first_line + data.count(b"\n", 0, at)
                raise refusal(name, (_other_header(number),))
        at = data.find(needle, at + 1)


def _is_other_header(line: bytes, dialect: Dialect) -> bool:
    cut = cut_lines(line.decode(errors="replace"), dialect.delimiter)
    return (
        bool(cut)
        and cut[0].words > 1
        and not cut[0].figures
        and any(is_time_header(cell) for cell in cut[0].cells)
    )


def _other_header(line: int) -> Problem:
    return Problem(
        f"in line {line} a header of other columns comes: cut the file there and ingest its parts "
        "one by one"
    )


def _above(data: bytes, begin: int, at: int, dialect: Dialect) -> int:
    """Return where the notes begin that stand above a header as they did above the first."""
    for _ in range(dialect.header_line - 1):
        start = data.rfind(b"\n", begin, max(at - 1, begin)) + 1 or begin
        if at <= begin or _is_row(data[start:at], dialect):
            break
        at = start
    return at


def _below(data: bytes, at: int, dialect: Dialect) -> int:
    """Return where the rows begin below a header, behind its row of units where there was one."""
    for _ in range(dialect.first_line - dialect.header_line - 1):
        end = _next_line(data, at)
        if at >= len(data) or _is_row(data[at:end], dialect):
            break
        at = end
    return at


def _end_of_rows(data: bytes, dialect: Dialect) -> int:
    """Return where the lines begin with which a block ends, and which may belong to a header."""
    end = len(data)
    for _ in range(dialect.first_line - 1):
        start = data.rfind(b"\n", 0, max(end - 1, 0)) + 1
        if end == 0 or _is_row(data[start:end], dialect):
            break
        end = start
    return end


def _is_row(line: bytes, dialect: Dialect) -> bool:
    cut = cut_lines(line.decode(errors="replace"), dialect.delimiter)
    return bool(cut) and len(cut[0].cells) == dialect.cells and cut[0].is_row


def _next_line(data: bytes, at: int) -> int:
    return data.find(b"\n", at) + 1 or len(data)
