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
from large import write_log
from ratios import paired_seconds

from babbitt.ingest.log_bytes import open_log
from babbitt.ingest.read import open_run
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.logbook.folder import write_original
from babbitt.logbook.run_file import RunWriter
from babbitt.logbook.safe_files import whole_file

SIZE = 100_000_000
ROUNDS = 5


def plain(log: Path, target: Path) -> None:
    """Read, cast and write the file: the least that anyone would do."""
    with log.open("rb") as file:
        mixed = b";" in file.readline()
    parse = pa.csv.ParseOptions(delimiter=";" if mixed else ",")
    convert = pa.csv.ConvertOptions(decimal_point="," if mixed else ".")
    table = pa.csv.read_csv(log, parse_options=parse, convert_options=convert)
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
        digest = hashlib.sha256()
        for block in data.blocks():
            digest.update(block)
        original = files.enter_context(whole_file(folder / "original.zst"))
        keeping = aside.submit(write_original, data.blocks(), original)
        source = ReadSource(log.name, data.open, digest.hexdigest(), datetime.now(UTC))
        run = files.enter_context(open_run(source, Instructions("E1"), folder=folder))
        writer = files.enter_context(RunWriter(files.enter_context(whole_file(folder / "run"))))
        for part in run.parts():
            writer.write(part)
        writer.finish(run.info)
        keeping.result()


@pytest.fixture(scope="module", params=[False, True], ids=["plain", "worst"])
def log(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path: Path = tmp_path_factory.mktemp("bench") / "log.csv"
    write_log(path, SIZE, mixed=request.param)
    return path


def test_ingest_of_a_100_mb_log(benchmark, keep_row, request, log: Path, tmp_path: Path) -> None:
    pairs = paired_seconds(
        lambda: ingest(log, tmp_path),
        lambda: plain(log, tmp_path / "plain.parquet"),
        rounds=ROUNDS,
    )
    benchmark.pedantic(ingest, args=(log, tmp_path), rounds=1)
    keep_row(
        f"ingest of a 100 MB log, {request.node.callspec.id} / pyarrow read, cast, write",
        [ours / baseline for ours, baseline in pairs],
        reach=2.0,
        aim=1.5,
    )
