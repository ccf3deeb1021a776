"""Parquet and Arrow files as text, so that one way leads from columns to channels."""

from __future__ import annotations

import csv
import io
from collections.abc import Generator
from typing import IO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

PARQUET, ARROW = b"PAR1", b"ARROW1"
START_KEY = b"start"
"""Of a table's metadata: when its elapsed time began, ISO 8601."""

_ROWS = 1 << 14
_MOST_GROUP_BYTES = 1 << 30
"""A row group that promises more, unpacked, is no log's: it has to fit into memory."""


def is_table(head: bytes) -> bool:
    """Whether a file that begins so is a Parquet or Arrow file."""
    return head.startswith((PARQUET, ARROW))


class TableText:
    """A stream of the text of a Parquet or Arrow file: a header, and a line for each row."""

    def __init__(self, file: IO[bytes]) -> None:
        """Begin at the first row.

        Args:
            file: at its first byte.

        Raises:
            ValueError: it holds what no table of numbers and texts does.
            pyarrow.ArrowException: it is damaged.
        """
        head = file.read(len(ARROW))
        file.seek(0)
        if head.startswith(PARQUET):
            parquet = pq.ParquetFile(file)
            about = parquet.metadata
            groups = [about.row_group(i).total_byte_size for i in range(about.num_row_groups)]
            if max(groups, default=0) > _MOST_GROUP_BYTES:
                raise ValueError("a row group in it would not fit into memory")
            schema, self._batches = parquet.schema_arrow, parquet.iter_batches(batch_size=_ROWS)
        else:
            arrow = pa.ipc.open_file(file)
            schema = arrow.schema
            self._batches = (arrow.get_batch(i) for i in range(arrow.num_record_batches))
        odd = [field.name for field in schema if not _can_be_text(field.type)]
        if odd:
            raise ValueError(f"its column {odd[0]!r} holds neither numbers nor times nor text")
        self._schema = schema
        self._pieces = self._text()
        self._held = b""

    def read(self, size: int) -> bytes:
        """Return up to `size` bytes, none at the end."""
        while not self._held:
            piece = next(self._pieces, None)
            if piece is None:
                return b""
            self._held = piece
        data, self._held = self._held[:size], self._held[size:]
        return data

    def close(self) -> None:
        """Let go of the file."""
        self._pieces.close()

    def _text(self) -> Generator[bytes, None, None]:
        top = io.StringIO()
        writer = csv.writer(top, lineterminator="\n")
        start = (self._schema.metadata or {}).get(START_KEY)
        if start is not None:
            writer.writerow(["Start", start.decode(errors="replace")])
        writer.writerow([_header(field) for field in self._schema])
        yield top.getvalue().encode()
        options = pyarrow.csv.WriteOptions(include_header=False, quoting_style="needed")
        for batch in self._batches:
            sink = pa.BufferOutputStream()
            columns = [_plain(column) for column in batch.columns]
            table = pa.table(columns, names=[str(i) for i in range(len(columns))])
            pyarrow.csv.write_csv(table, sink, options)
            yield sink.getvalue().to_pybytes()


def _can_be_text(kind: pa.DataType) -> bool:
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    simple = (
        *(pa.types.is_integer, pa.types.is_floating, pa.types.is_decimal, pa.types.is_boolean),
        *(pa.types.is_string, pa.types.is_large_string, pa.types.is_null),
        *(pa.types.is_timestamp, pa.types.is_duration, pa.types.is_time, pa.types.is_date),
    )
    return any(one(kind) for one in simple)


def _header(field: pa.Field) -> str:
    """Return the name of a column, with the unit that its metadata or its type states."""
    about = field.metadata or {}
    unit = about.get(b"unit", about.get(b"units", b"")).decode(errors="replace")
    if pa.types.is_duration(field.type):
        unit = field.type.unit
    return f"{field.name} [{unit}]" if unit and f"[{unit}]" not in field.name else field.name


def _plain(column: pa.Array) -> pa.Array:
    """Return a column as the writer of text takes it."""
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_duration(column.type):
        return pc.cast(column, pa.int64())
    if pa.types.is_boolean(column.type):
        return pc.cast(column, pa.uint8())
    if pa.types.is_float16(column.type):
        return pc.cast(column, pa.float32())
    return column
