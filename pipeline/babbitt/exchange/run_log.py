"""A run as a log again: its channels in canonical units, which reads in as the same values."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.safe_files import whole_file
from babbitt.model.records import RunRecord
from babbitt.model.run import Run

LogFormat = Literal["csv", "parquet"]


def write_log(book: Logbook, record: RunRecord, path: Path, log_format: LogFormat) -> int:
    """Write a run as a log of one table: seconds since its start, a column for each channel.

    The units stand in the headers, the start in a line above them or in the table's metadata.
    Quality flags are left out: reading the log again finds them again.

    Args:
        book: the logbook.
        record: of the run, one that a log gave.
        path: of the file; there once it is whole.
        log_format: csv or parquet.

    Returns:
        How many samples were written.

    Raises:
        RunFileError: the run's file is missing or damaged.
        LogbookError: the log cannot be written.
    """
    samples = 0
    start = record.started_at.isoformat()
    with saying_what_failed(f"cannot write {path}"), whole_file(path) as whole:
        writer: Any = None
        with whole.open("wb") as file:
            for part in book.run_parts(record.engine_id, record.run_id):
                table = _table(part, start)
                if writer is None and log_format == "csv":
                    file.write(_head(table, start))
                    options = pyarrow.csv.WriteOptions(include_header=False)
                    writer = pyarrow.csv.CSVWriter(file, table.schema, write_options=options)
                elif writer is None:
                    writer = pq.ParquetWriter(file, table.schema, compression="zstd")
                writer.write_table(table)
                samples += table.num_rows
            if writer is not None:
                writer.close()
    return samples


def _table(part: Run, start: str) -> pa.Table:
    columns = {"time [s]": pa.array(part.time_s)}
    for name, signal in part.signals.items():
        unit = f" [{signal.unit}]" if signal.unit else ""
        columns[f"{name}{unit}"] = pa.array(signal.values, mask=np.isnan(signal.values))
    return pa.table(columns).replace_schema_metadata({"start": start})


def _head(table: pa.Table, start: str) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([["Start", start], table.column_names])
    return text.getvalue().encode()
