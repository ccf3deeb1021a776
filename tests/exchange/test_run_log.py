"""A run written as a log reads in again as the same values; tables are read as their text is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest

from babbitt.errors import LogRefusedError
from babbitt.exchange.run_log import LogFormat, write_log
from babbitt.ingest.log_bytes import open_log
from babbitt.ingest.read import Instructions, read_log
from babbitt.ingest.source import ReadSource
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import Logbook
from babbitt.model.run import Run
from babbitt.register.records import runs
from ingest_logs import MODIFIED

GIVEN = Instructions("E1")


def read_file(path: Path) -> Run:
    with open_log(path) as log:
        return read_log(ReadSource(path.name, log.open, log.sha256(), MODIFIED), GIVEN)


def table() -> pa.Table:
    i = np.arange(400)
    columns = {
        "time": pa.array(i * 0.05),
        "rpm": pa.array((2000 + 7 * i).astype("int32")),
        "oil_pressure": pa.array(300 + 0.25 * i),
        "driver": pa.array(["one"] * 400).dictionary_encode(),
    }
    units = {"time": "s", "oil_pressure": "kPa"}
    fields = [
        pa.field(name, column.type, metadata={"unit": units[name]} if name in units else None)
        for name, column in columns.items()
    ]
    return pa.table(list(columns.values()), schema=pa.schema(fields))


@pytest.mark.parametrize("suffix", ["parquet", "arrow"])
def test_a_table_is_read_as_a_log(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"log.{suffix}"
    if suffix == "parquet":
        pq.write_table(table(), path)
    else:
        with pa.ipc.new_file(path, table().schema) as writer:
            writer.write_table(table(), max_chunksize=100)
    run = read_file(path)
    np.testing.assert_allclose(run.time_s, np.arange(400) * 0.05)
    np.testing.assert_array_equal(run.signals["oil_pressure"].values, 300 + 0.25 * np.arange(400))
    assert run.signals["rpm"].values[-1] == 4793


def test_a_table_with_its_middle_lost_is_refused_in_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    pq.write_table(table(), path)
    data = path.read_bytes()
    for broken in (data[: len(data) // 2], data[:200] + data[400:], b"PAR1" + bytes(80)):
        path.write_bytes(broken)
        with pytest.raises(LogRefusedError, match=r"log\.parquet"):
            read_file(path)


def test_a_table_of_lists_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({"time": [0.0, 1.0], "rpm": [[1], [2]]}), path)
    with pytest.raises(LogRefusedError, match="its column 'rpm' holds neither numbers nor"):
        read_file(path)


@pytest.mark.parametrize("log_format", ["csv", "parquet"])
def test_a_run_written_as_a_log_reads_in_as_the_same_values(
    log_format: LogFormat, book: Logbook, tmp_path: Path
) -> None:
    log = tmp_path / "friday.csv"
    rows = "".join(
        f"2026-05-16 10:00:{i / 30:09.6f},{2000 + i},{'' if i % 40 == 7 else f'{40 + i / 7:.3f}'},"
        f"{20 + i // 9 if i % 9 == 0 else ''},{i * 3}\n"
        for i in range(900)
    )
    log.write_text("Time,RPM,Oil Press [psi],Oil Temp [°F],Gearbox\n" + rows)
    taken = ingest_log(book, log, GIVEN)
    assert taken.run_id is not None, taken
    with book.register.reading() as session:
        record = runs.find_run(session, taken.run_id)
    before = book.read_run(record.engine_id, record.run_id)
    assert write_log(book, record, tmp_path / "again", log_format) == 900
    after = read_file(tmp_path / "again")
    assert after.info.started_at == before.info.started_at
    np.testing.assert_array_equal(after.time_s, before.time_s)
    assert list(after.signals) == list(before.signals)
    for name, signal in before.signals.items():
        np.testing.assert_array_equal(after.signals[name].values, signal.values, err_msg=name)
