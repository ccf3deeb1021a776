"""The file of a run: Parquet that any reader of Parquet can use."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from babbitt.errors import LogbookError
from babbitt.model.run import Run, RunInfo, info_metadata, run_to_table

_ROW_GROUP = 1 << 20
"""Most samples in a row group of a run's file; a part of a run is one or more."""

_TRIED = 1 << 15
"""Samples by which it is tried how a column is stored best."""

_MOST_VALUES = 1 << 26
"""Most values in a row group: ten times what the parts of a run hold that is being read."""

_MOST_A_BYTE = 24
"""Most samples that a byte of a file stands for; 14 are seen where every channel stands still."""


def refuse_unfolding(file: pq.ParquetFile, size: int) -> None:
    """Refuse a file that promises more than a run holds, before any of it is read.

    Args:
        file: its list of contents is read.
        size: of the file, bytes.

    Raises:
        LogbookError: it would take far more memory than it takes room.
    """
    about = file.metadata
    groups = [about.row_group(index).num_rows for index in range(about.num_row_groups)]
    if (
        not set(file.schema_arrow.types) <= {pa.float64(), pa.float32(), pa.uint8()}
        or max(groups, default=0) * about.num_columns > _MOST_VALUES
        or sum(groups) != about.num_rows
        or about.num_rows > _MOST_A_BYTE * size
    ):
        raise LogbookError(
            f"This Parquet file is not a run as this program writes one: {size:,} bytes promise "
            f"{about.num_rows:,} samples of {about.num_columns:,} columns."
        )


class RunWriter:
    """Writes a run as Parquet, part by part; see `whole_file` for making that atomic.

    A part is written while the next one is made; what failed is raised by the next call.
    """

    def __init__(self, path: Path) -> None:
        """Begin an empty file.

        Args:
            path: of the file.
        """
        self._path = path
        self._files = contextlib.ExitStack()
        self._writer: pq.ParquetWriter | None = None
        self._aside = ThreadPoolExecutor(1)
        self._written: Future[None] | None = None

    def __enter__(self) -> RunWriter:
        return self

    def __exit__(self, *failed: object) -> None:
        self._aside.shutdown()
        self._files.close()

    def write(self, part: Run) -> None:
        """Write the next part."""
        table = run_to_table(part).replace_schema_metadata(None)
        if self._writer is None:
            split = _better_split(table.slice(0, _TRIED))
            self._writer = self._files.enter_context(_open_writer(self._path, table.schema, split))
        self._wait()
        self._written = self._aside.submit(
            self._writer.write_table, table, row_group_size=_ROW_GROUP
        )

    def passing(self, parts: Iterable[Run]) -> Iterator[Run]:
        """Yield parts, each once it is written."""
        for part in parts:
            self.write(part)
            yield part

    def finish(self, info: RunInfo) -> None:
        """Write what the run says of itself, once all of its parts were."""
        if self._writer is None:
            raise ValueError("a run without parts cannot be written")
        self._wait()
        self._writer.add_key_value_metadata(info_metadata(info))
        self._files.close()

    def _wait(self) -> None:
        if self._written is not None:
            self._written.result()


def _better_split(table: pa.Table) -> list[str]:
    """Return the columns that take less room split by byte than as a list of their values.

    The high bytes of measured values repeat; where a sensor has few steps, so do whole values.
    """
    names = [name for name in table.column_names if not name.endswith("_flag")]
    return [
        name
        for name in names
        if _stored_bytes(table.select([name]), [name]) <= _stored_bytes(table.select([name]), [])
    ]


def _stored_bytes(table: pa.Table, split: Collection[str]) -> int:
    sink = pa.BufferOutputStream()
    with _open_writer(sink, table.schema, split) as writer:
        writer.write_table(table)
    size: int = sink.getvalue().size
    return size


def _open_writer(where: Any, schema: pa.Schema, split: Collection[str]) -> pq.ParquetWriter:
    return pq.ParquetWriter(
        where,
        schema,
        compression="zstd",
        compression_level=1,
        use_dictionary=[name for name in schema.names if name not in split],
        use_byte_stream_split=list(split),
        write_statistics=False,
    )
