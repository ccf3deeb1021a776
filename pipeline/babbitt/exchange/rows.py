"""The rows of an imported table, and what becomes of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Literal

from babbitt.errors import RegisterError, tell_faults
from babbitt.model.csv_rows import read_number
from babbitt.model.plain_text import parse_instant


@dataclass(frozen=True)
class Step:
    """What an import does for a row.

    Attributes:
        line: that the row begins on, counted from 1.
        what: the record, in words.
        outcome: added, or there: the register has it already.
    """

    line: int
    what: str
    outcome: Literal["added", "there"]


@dataclass
class Faults:
    """What is wrong with a file, gathered so that all of it is told at once."""

    found: list[tuple[int, str]] = field(default_factory=list)

    def add(self, line: int, text: str) -> None:
        """Note what is wrong with a line, as a clause without an end mark."""
        self.found.append((line, f"line {line}: {text}"))

    @contextmanager
    def of(self, line: int) -> Iterator[None]:
        """Make a refusal of the register a fault of a line."""
        try:
            yield
        except RegisterError as error:
            self.add(line, str(error).removesuffix("."))

    def sentence(self, source: str) -> str:
        """Return them as one sentence, in the order of their lines."""
        return f"{source}: {tell_faults(sorted(self.found), lambda fault: fault[1])}"


@dataclass(frozen=True)
class Row:
    """The filled cells of one row, read one by one.

    Attributes:
        line: that it begins on, counted from 1.
        cells: column -> text.
        zone: of times that state none.
        decimal_comma: whether numbers may have one.
        faults: takes what is wrong with a cell.
    """

    line: int
    cells: Mapping[str, str]
    zone: tzinfo
    decimal_comma: bool
    faults: Faults

    def text(self, column: str) -> str | None:
        """Return the text of a cell; None: it is blank."""
        return self.cells.get(column)

    def required(self, column: str) -> str:
        """Return the text of a cell that must not be blank; "" where it is."""
        if column not in self.cells:
            self.fault(column, "fill it in")
        return self.cells.get(column, "")

    def number(self, column: str) -> float | None:
        """Return the number in a cell; None: it is blank, or holds none."""
        cell = self.cells.get(column)
        if cell is None:
            return None
        value = read_number(cell, decimal_comma=self.decimal_comma)
        if value is None:
            self.fault(column, f"{cell!r} is no number; write it like 6.5")
        return value

    def past(self, column: str) -> datetime | None:
        """Return the instant in a cell, which is over; None: it is blank, or holds none."""
        cell = self.cells.get(column)
        if cell is None:
            return None
        try:
            at = parse_instant(cell)
        except ValueError as error:
            self.fault(column, str(error))
            return None
        at = at if at.tzinfo else at.replace(tzinfo=self.zone)
        if at > datetime.now(UTC) + timedelta(days=1):  # clocks and zones differ by less
            self.fault(column, f"{cell} lies in the future: check the date")
        return at.astimezone(UTC)

    def fault(self, column: str, text: str) -> None:
        """Note what is wrong with a cell."""
        self.faults.add(self.line, f"{column}: {text}")
