"""The cells of a log's table: parsed into columns of numbers, with the line of any row at hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipeline.ingest.dialect import BLANK_CELLS, Dialect, number_pattern
from pipeline.ingest.source import Problem, refusal
from pipeline.ingest.text import Text, line_starts
from pipeline.run import ChannelArray, FloatArray

RAGGED_SHARE = 0.01
"""More rows than this with too many or too few cells, and a log is refused; one is always let pass,
since a log that lost its power ends in the middle of a row."""

TEXT_SHARE = 0.5
"""More cells than this that are no numbers, and a column is text."""

_BLANKS = [*BLANK_CELLS, *("#" * n for n in range(1, 13))]


@dataclass(frozen=True)
class Table:
    """The rows of a log.

    Attributes:
        rows: how many there are.
        numbers: column -> its values, NaN where there is none; shape (rows,). Only columns that
            have any.
        time: values of the time column: float64, or strings where it holds clock times; None where
            no column is the time.
        texts: columns that hold text, not numbers.
        blanks: columns without a single value.
        warnings: what was left out, a sentence each.
        line_of: row, counted from 0 -> its line in the file.
    """

    rows: int
    numbers: Mapping[int, ChannelArray]
    time: FloatArray | pa.ChunkedArray | None
    texts: tuple[int, ...]
    blanks: tuple[int, ...]
    warnings: tuple[str, ...]
    line_of: Callable[[int], int]


def parse_cells(text: Text, dialect: Dialect, time_column: int | None, name: str) -> Table:
    """Parse the rows of a log.

    Columns are read as float32 outright; only where one holds something else is the table read
    again as text, and what is no number in it becomes missing.

    Args:
        text: of the log.
        dialect: of the log.
        time_column: the column of the time, None where there is none.
        name: of the file, for errors.

    Raises:
        LogRefusedError: too many rows have too many or too few cells.
    """
    columns = range(len(dialect.headers))
    kinds = {i: pa.string() if i in dialect.textual else pa.float32() for i in columns}
    if time_column is not None and time_column not in dialect.textual:
        kinds[time_column] = pa.float64()
    body = _utf8_body(text, dialect)
    read = _read(body, dialect, kinds)
    if isinstance(read, str):
        kinds = dict.fromkeys(columns, pa.string())
        read = _read(body, dialect, kinds)
    if isinstance(read, str):
        raise refusal(name, (Problem(f"its rows cannot be told apart ({read}): export it again"),))
    table, ragged = read
    lines = _Lines(body, dialect, tuple(ragged))
    warnings = _about_ragged(ragged, table.num_rows, lines, name)
    numbers: dict[int, ChannelArray] = {}
    texts: list[int] = []
    blanks: list[int] = []
    time: FloatArray | pa.ChunkedArray | None = None
    for i in columns:
        column = table.column(str(i))
        if i == time_column:
            time = _time(column, dialect, textual=i in dialect.textual)
            continue
        values, wrong = _numbers(column, pa.float32(), dialect)
        values = _finite(values)
        if len(wrong) > TEXT_SHARE * (table.num_rows - column.null_count):
            texts.append(i)
        elif np.isnan(values).all():
            blanks.append(i)
        else:
            numbers[i] = values
            if len(wrong):
                warnings.append(_about_wrong(dialect.headers[i], column, wrong, lines))
    return Table(
        rows=table.num_rows,
        numbers=numbers,
        time=time,
        texts=tuple(texts),
        blanks=tuple(blanks),
        warnings=tuple(warnings),
        line_of=lines.of_row,
    )


def _read(
    body: pa.Buffer, dialect: Dialect, kinds: Mapping[int, Any]
) -> tuple[pa.Table, list[int]] | str:
    """Return the table and the ordinals of the rows left out, or why it cannot be read so."""
    names = [str(i) for i in range(dialect.cells)]
    wanted = names[: len(dialect.headers)]
    convert = pyarrow.csv.ConvertOptions(
        column_types={str(i): kind for i, kind in kinds.items()},
        include_columns=wanted,
        null_values=_BLANKS,
        strings_can_be_null=True,
        decimal_point=dialect.decimal,
    )
    ragged: list[int | None] = []

    def leave_out(row: Any) -> str:
        ragged.append(row.number)
        return "skip"

    parse = pyarrow.csv.ParseOptions(delimiter=dialect.delimiter, invalid_row_handler=leave_out)
    for use_threads in (True, False):
        ragged.clear()
        read = pyarrow.csv.ReadOptions(column_names=names, use_threads=use_threads)
        try:
            table = pyarrow.csv.read_csv(pa.BufferReader(body), read, parse, convert)
        except pa.ArrowInvalid as error:
            return str(error)
        # The number of a row that is left out is known only to a reader that goes in order.
        if not ragged:
            break
    return table, sorted(number for number in ragged if number is not None)


def _utf8_body(text: Text, dialect: Dialect) -> pa.Buffer:
    """Return the rows as bytes that are certainly UTF-8; without a copy where they are ASCII."""
    body = text.body.slice(dialect.offset)
    if np.frombuffer(body, dtype=np.uint8).max() < 0x80:
        return body
    return pa.py_buffer(body.to_pybytes().decode(text.body_encoding, errors="replace").encode())


def _time(
    column: pa.ChunkedArray, dialect: Dialect, *, textual: bool
) -> FloatArray | pa.ChunkedArray:
    return column if textual else _numbers(column, pa.float64(), dialect)[0]


def _finite(values: ChannelArray) -> ChannelArray:
    """Return the values with infinite ones missing."""
    infinite = np.isinf(values)
    return np.where(infinite, np.float32(np.nan), values) if infinite.any() else values


def _numbers(
    column: pa.ChunkedArray, kind: pa.DataType, dialect: Dialect
) -> tuple[Any, npt.NDArray[np.intp]]:
    """Return a column as numbers, and the rows that are neither a number nor blank."""
    if column.type == kind:
        return column.to_numpy(), np.array([], dtype=np.intp)
    cells = pc.utf8_trim_whitespace(column)
    fits = pc.match_substring_regex(cells, f"^(?:{number_pattern(dialect.decimal)})$")
    blank = pc.is_in(cells, value_set=pa.array(_BLANKS))
    wrong = pc.and_not(pc.invert(pc.fill_null(fits, True)), blank)
    if dialect.decimal == ",":
        cells = pc.replace_substring(cells, ",", ".")
    values = pc.cast(pc.if_else(pc.fill_null(fits, False), cells, None), kind)
    return values.to_numpy(), np.flatnonzero(wrong.to_numpy())


@dataclass(frozen=True)
class _Lines:
    """Where the rows of a table lie in the file.

    Attributes:
        body: the rows.
        dialect: of the log.
        ragged: ordinals, counted from 1, of the rows that were left out.
    """

    body: pa.Buffer
    dialect: Dialect
    ragged: tuple[int, ...]

    def of_row(self, row: int) -> int:
        """Return the line of a row of the table, counted from 0."""
        ordinal = row + 1
        for left_out in self.ragged:
            if left_out > ordinal:
                break
            ordinal += 1
        return self.of_ordinal(ordinal)

    def of_ordinal(self, ordinal: int) -> int:
        """Return the line of the n-th row of the file, counted from 1; blank lines are no rows."""
        starts = np.concatenate([[0], line_starts(self.body)])
        starts = starts[starts < self.body.size]
        begins = np.frombuffer(self.body, dtype=np.uint8)[starts]
        filled = (begins != ord("\n")) & (begins != ord("\r"))
        return self.dialect.first_line + int(np.flatnonzero(filled)[ordinal - 1])


def _about_ragged(ragged: list[int], rows: int, lines: _Lines, name: str) -> list[str]:
    if not ragged:
        return []
    cells = lines.dialect.cells
    first = lines.of_ordinal(ragged[0])
    if len(ragged) > max(1, RAGGED_SHARE * rows):
        sentence = (
            f"{len(ragged):,} of {rows + len(ragged):,} rows do not have the {cells} cells of the "
            f"others, the first in line {first}: export the log again"
        )
        raise refusal(name, (Problem(sentence),))
    what = "1 row was" if len(ragged) == 1 else f"{len(ragged):,} rows were"
    return [
        f"{what} left out for having more or fewer than {cells} cells (the first in line {first})."
    ]


def _about_wrong(
    header: str, column: pa.ChunkedArray, wrong: npt.NDArray[np.intp], lines: _Lines
) -> str:
    first = int(wrong[0])
    is_no = "1 cell is no number" if len(wrong) == 1 else f"{len(wrong):,} cells are no numbers"
    return (
        f"Column {header!r}: {is_no}, and missing (the first in line {lines.of_row(first)}: "
        f"{column[first].as_py()!r})."
    )
