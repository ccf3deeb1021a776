"""Ingest of a 100 MB log against pyarrow's own reading, casting and writing of the same file."""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
import pytest
from ratios import paired_seconds
from season import make_run

from pipeline.flow import open_log
from pipeline.ingest.read import read_log
from pipeline.ingest.source import Instructions, ReadSource
from pipeline.logbook import whole_file, write_original, write_run

SAMPLES = 2_300_000
HEADERS = {
    "rpm": "RPM (1/min)",
    "oil_pressure": "Oil Press (kPa)",
    "oil_temperature": "Oil Temp (°C)",
    "coolant_temperature": "Coolant Temp (°C)",
    "boost": "Boost (kPa)",
    "lateral_g": "Lateral G (g)",
}
ROUNDS = 5


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    run = make_run(SAMPLES)
    columns = {"Time (s)": run.time_s.round(2)}
    columns |= {HEADERS[name]: signal.values for name, signal in run.signals.items()}
    path = tmp_path_factory.mktemp("bench") / "log.csv"
    pa.csv.write_csv(pa.table(columns), path)
    return path


def plain(log: Path, target: Path) -> None:
    """Read, cast and write the file: the least that anyone would do."""
    table = pa.csv.read_csv(log)
    schema = pa.schema(
        [
            (name, pa.float64() if name == "Time (s)" else pa.float32())
            for name in table.column_names
        ]
    )
    pq.write_table(table.cast(schema), target)


def ingest(log: Path, folder: Path) -> None:
    """Hash, keep the original, read with units and flags, write Parquet: as the flow does."""
    with open_log(log) as data, ExitStack() as files, ThreadPoolExecutor(1) as aside:
        sha256 = hashlib.sha256(data).hexdigest()
        original = files.enter_context(whole_file(folder / "original.zst"))
        keeping = aside.submit(write_original, data, original)
        run = read_log(ReadSource(log.name, data, sha256, datetime.now(UTC)), Instructions("E1"))
        write_run(run, files.enter_context(whole_file(folder / "run.parquet")))
        keeping.result()


def test_ingest_of_a_100_mb_log(benchmark, assert_ratio, log: Path, tmp_path: Path) -> None:
    assert 90e6 < log.stat().st_size < 110e6
    pairs = paired_seconds(
        lambda: ingest(log, tmp_path),
        lambda: plain(log, tmp_path / "plain.parquet"),
        rounds=ROUNDS,
    )
    benchmark.pedantic(ingest, args=(log, tmp_path), rounds=1)
    assert_ratio(
        "ingest of a 100 MB log / pyarrow read, cast, write",
        [ours / baseline for ours, baseline in pairs],
        reach=2.0,
        aim=1.5,
    )
