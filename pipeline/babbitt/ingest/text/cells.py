"""The cells of a log's table: parsed block by block into columns of numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from babbitt.ingest.source import Problem, refusal
from babbitt.ingest.text.decode import line_starts
from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.numerals import BLANK_CELLS, read_numbers
from babbitt.ingest.text.wording import shown
from babbitt.model.run import ChannelArray, FloatArray

RAGGED_SHARE = 0.01
"""More rows than this with too many or too few cells, and a log is refused; one is always let pass,
since a log that lost its power ends in the middle of a row."""

TEXT_SHARE = 0.5
"""More cells than this that are no numbers, and a column is text."""

_BLANKS = [*BLANK_CELLS, *("#" * n for n in range(1, 13))]


@dataclass(frozen=True)
class Rows:
    """The rows of one block.

    Attributes:
        count: how many there are.
        numbers: column -> its values, NaN where there is none; shape (rows,).
        texts: column -> its cells as they stand, of those that were asked for as text.
        exact: values of the columns that were asked for as float64, NaN where there is none.
        line_of: row, counted from 0 -> its line in the file.
    """

    count: int
    numbers: Mapping[int, ChannelArray]
    texts: Mapping[int, pa.ChunkedArray]
    exact: Mapping[int, FloatArray]
    line_of: Callable[[int], int]


@dataclass
class _Tally:
    """What was found in one column so far."""

    filled: int = 0
    present: int = 0
    wrong: int = 0
    first_wrong: str = ""
    first_line: int = 0


class CellReader:
    """Parses the rows of one log, block after block, and keeps count of what was wrong with them.

    Columns are read as numbers outright; only where a block holds something else is it read again
    as text, and what is no number in it becomes missing.
    """

    def __init__(
        self,
        dialect: Dialect,
        name: str,
        *,
        as_text: Collection[int] = (),
        exact: Collection[int] = (),
    ) -> None:
        """Begin with no rows.

        Args:
            dialect: of the log.
            name: of the file, for errors.
            as_text: columns whose cells are wanted as they stand.
            exact: columns wanted as float64, not float32.
        """
        self.columns = [
            i for i in range(len(dialect.headers)) if i not in as_text and i not in exact
        ]
        self._dialect = dialect
        self._name = name
        self._as_text = tuple(as_text)
        self._exact = tuple(exact)
        self._texts = {
            i for i in self.columns if i in dialect.textual or dialect.grouping or dialect.glued[i]
        }
        # Columns that held something else than plain numbers in the block before.
        self._mixed = set(self._texts)
        self._tallies = {i: _Tally() for i in self.columns}
        self._count = self._ragged = self._first_ragged = 0

    def read(self, data: bytes, first_line: int) -> Rows:
        """Parse a block of rows.

        Args:
            data: whole lines, in UTF-8.
            first_line: number of the first of them in the file.

        Raises:
            LogRefusedError: the rows cannot be told apart.
        """
        table, ragged, floats = self._parse(data)
        lines = _Lines(data, first_line, tuple(ragged))
        if ragged:
            self._first_ragged = self._first_ragged or lines.of_ordinal(ragged[0])
            self._ragged += len(ragged)
        self._count += table.num_rows
        return Rows(
            count=table.num_rows,
            numbers={
                i: self._counted(i, table.column(str(i)), floats.get(i), lines)
                for i in self.columns
            },
            texts={i: table.column(str(i)) for i in self._as_text},
            exact={
                i: floats[i]
                if i in floats
                else _as_numbers(table.column(str(i)), pa.float64(), self._dialect, i)[0]
                for i in self._exact
            },
            line_of=lines.of_row,
        )

    def finish(self) -> tuple[tuple[int, ...], tuple[int, ...], tuple[str, ...]]:
        """Return the columns that hold text, those that are blank, and what was left out.

        Raises:
            LogRefusedError: too many rows have too many or too few cells.
        """
        warnings = self._about_ragged()
        texts, blanks = [], []
        for i, tally in self._tallies.items():
            if tally.wrong > TEXT_SHARE * tally.filled:
                texts.append(i)
            elif not tally.present:
                blanks.append(i)
            elif tally.wrong:
                warnings.append(_about_wrong(self._dialect.headers[i], tally))
        return tuple(texts), tuple(blanks), tuple(warnings)

    @property
    def count(self) -> int:
        """Rows read so far."""
        return self._count

    def _parse(self, data: bytes) -> tuple[pa.Table, list[int], dict[int, Any]]:
        """Return the table, the ordinals of the rows left out, and the columns read as numbers."""
        if not data.strip():
            names = [str(i) for i in range(len(self._dialect.headers))]
            return pa.table({name: pa.array([], pa.string()) for name in names}), [], {}
        glued = self._dialect.glued
        exact = {i: pa.string() if glued[i] else pa.float64() for i in self._exact}
        read = _read(data, self._dialect, self._kinds() | exact)
        if not isinstance(read, str):
            floats = _floats(read[0])
            if floats is not None:
                return *read, floats
        self._mixed.update(self.columns)
        read = _read(data, self._dialect, self._kinds() | dict.fromkeys(self._exact, pa.string()))
        if isinstance(read, str):
            sentence = f"its rows cannot be told apart ({read}): export it again"
            raise refusal(self._name, (Problem(sentence),))
        return *read, {}

    def _kinds(self) -> dict[int, pa.DataType]:
        kinds = {i: pa.string() if i in self._mixed else pa.float32() for i in self.columns}
        return kinds | dict.fromkeys(self._as_text, pa.string())

    def _counted(
        self, index: int, column: pa.ChunkedArray, values: ChannelArray | None, lines: _Lines
    ) -> ChannelArray:
        """Return the values of a column, and count what it holds; `values` if they are read."""
        tally = self._tallies[index]
        filled = len(column) - column.null_count
        tally.filled += filled
        if values is not None:
            tally.present += filled
            return values
        values, odd = _as_numbers(column, pa.float32(), self._dialect, index)
        wrong = np.flatnonzero(odd)
        if len(wrong) and not tally.wrong:
            tally.first_line = lines.of_row(int(wrong[0]))
            tally.first_wrong = column[int(wrong[0])].as_py()
        if not len(wrong) and index not in self._texts:
            self._mixed.discard(index)
        tally.wrong += len(wrong)
        tally.present += int(np.count_nonzero(~np.isnan(values)))
        return values

    def _about_ragged(self) -> list[str]:
        if not self._ragged:
            return []
        cells, first = self._dialect.cells, self._first_ragged
        if self._ragged > max(1, RAGGED_SHARE * self._count):
            sentence = (
                f"{self._ragged:,} of {self._count + self._ragged:,} rows do not have the {cells} "
                f"cells of the others, the first in line {first}: export the log again"
            )
            raise refusal(self._name, (Problem(sentence),))
        what = "1 row was" if self._ragged == 1 else f"{self._ragged:,} rows were"
        how = f"more or fewer than {cells} cells (the first in line {first})"
        return [f"{what} left out for having {how}."]


def _read(
    data: bytes, dialect: Dialect, kinds: Mapping[int, Any]
) -> tuple[pa.Table, list[int]] | str:
    """Return the table and the ordinals of the rows left out, or why it cannot be read so."""
    names = [str(i) for i in range(dialect.cells)]
    convert = pyarrow.csv.ConvertOptions(
        column_types={str(i): kind for i, kind in kinds.items()},
        include_columns=names[: len(dialect.headers)],
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
            table = pyarrow.csv.read_csv(pa.BufferReader(data), read, parse, convert)
        except pa.ArrowInvalid as error:
            return str(error)
        # The number of a row that is left out is known only to a reader that goes in order.
        if not ragged:
            break
    return table, sorted(number for number in ragged if number is not None)


def _floats(table: pa.Table) -> dict[int, Any] | None:
    """Return the columns that were read as numbers, NaN where blank.

    None where one is infinite or not a number by name: read as text it is told as what it is.
    """
    floats: dict[int, Any] = {}
    for name in table.column_names:
        column = table.column(name)
        if pa.types.is_floating(column.type):
            values = column.to_numpy()
            finite = np.count_nonzero(np.isfinite(values))
            if finite != len(column) - column.null_count:
                return None
            floats[int(name)] = values
    return floats


def _as_numbers(
    column: pa.ChunkedArray, kind: pa.DataType, dialect: Dialect, index: int
) -> tuple[Any, npt.NDArray[np.bool_]]:
    """Return a column of text as numbers, NaN where infinite, and where they are not numbers."""
    if dialect.glued[index]:
        unit = re.escape(dialect.glued[index])
        column = pc.replace_substring_regex(column, rf"\s*{unit}\s*$", "")
    values, wrong = read_numbers(column, kind, dialect.decimal, dialect.grouping)
    infinite = np.isinf(values)
    if infinite.any():
        values = np.where(infinite, values.dtype.type(np.nan), values)
    return values, wrong


@dataclass(frozen=True)
class _Lines:
    """Where the rows of a block lie in the file.

    Attributes:
        data: of the block.
        first_line: number of its first line.
        ragged: ordinals, counted from 1, of the rows that were left out.
    """

    data: bytes
    first_line: int
    ragged: Sequence[int]

    def of_row(self, row: int) -> int:
        """Return the line of a row, counted from 0 among those that were kept."""
        ordinal = row + 1
        for left_out in self.ragged:
            if left_out > ordinal:
                break
            ordinal += 1
        return self.of_ordinal(ordinal)

    def of_ordinal(self, ordinal: int) -> int:
        """Return the line of the n-th row, counted from 1; blank lines are no rows."""
        starts = np.concatenate([[0], line_starts(self.data)])
        starts = starts[starts < len(self.data)]
        begins = np.frombuffer(self.data, dtype=np.uint8)[starts]
        filled = (begins != ord("\n")) & (begins != ord("\r"))
        return self.first_line + int(np.flatnonzero(filled)[ordinal - 1])


def _about_wrong(header: str, tally: _Tally) -> str:
    is_no = "1 cell is no number" if tally.wrong == 1 else f"{tally.wrong:,} cells are no numbers"
    return (
        f"Column {header!r}: {is_no}, and missing (the first in line {tally.first_line}: "
        f"{shown(tally.first_wrong)})."
    )
