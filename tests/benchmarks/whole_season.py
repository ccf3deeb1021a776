"""A season in one go: 100 million invented samples, taken in and searched with 1 and 2 workers.

``python tests/benchmarks/whole_season.py [--samples N] [--table FILE.md]``; the logs are made in a
temporary folder, and go with it. The baselines read or search the same files in the same run.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import duckdb
import psutil
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
from duckdb_script import count_events
from large import BABBITT, HEADERS
from pandas_script import find_events, frame_of
from ratios import as_markdown, publish
from season import SPEC, make_run, make_spec

from babbitt.detect.pressure import PressureSurface
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.model.channels import WATCHED
from babbitt.register.records import builds, engines, events, runs

RUN_SAMPLES = 500_000
"""83 minutes at 100 Hz: a long session."""
BEGAN = datetime(2026, 3, 1, 9, tzinfo=UTC)
BY_SCRIPT = 10
"""So many runs does each script search; the others would take it as long again."""
GIGABYTE = 1e9


def write_log(folder: Path, number: int) -> None:
    """Write one log of the season."""
    run = make_run(RUN_SAMPLES, seed=number + 1)
    columns = {"Time (s)": run.time_s.round(2)}
    columns |= {HEADERS[name]: signal.values for name, signal in run.signals.items()}
    with (folder / f"run{number:04d}.csv").open("wb") as file:
        file.write(f"Start,{BEGAN + timedelta(hours=6 * number):%Y-%m-%dT%H:%M:%SZ}\n".encode())
        pa.csv.write_csv(pa.table(columns), file)


class Peak:
    """The most memory that this process' descendants held at once, in MB."""

    def __init__(self) -> None:
        self.megabytes = 0.0
        self._over = threading.Event()

    @contextmanager
    def watched(self) -> Iterator[None]:
        watcher = threading.Thread(target=self._watch)
        watcher.start()
        try:
            yield
        finally:
            self._over.set()
            watcher.join()

    def _watch(self) -> None:
        while not self._over.wait(0.2):
            held = 0
            for process in psutil.Process().children(recursive=True):
                try:
                    memory = process.memory_full_info()
                except psutil.Error:
                    continue
                held += memory.pss
            self.megabytes = max(self.megabytes, held / 1e6)


def babbitt(*command: str | Path) -> tuple[float, float]:
    """Run a command; return its seconds and the most memory that it and its workers held, in MB."""
    peak = Peak()
    began = time.perf_counter()
    with peak.watched():
        subprocess.run([*BABBITT, *map(str, command)], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began, peak.megabytes


def take_in(folder: Path, logs: Path, workers: int) -> tuple[float, float]:
    """Take the season in, into a new logbook; return seconds and MB."""
    spec = folder / "engine.toml"
    spec.write_text(SPEC)
    babbitt("new", folder / "book")
    babbitt("engine", "add", "E1", "--spec", spec, "--logbook", folder / "book")
    return babbitt(
        *("ingest", logs, "--engine", "E1", "--workers", str(workers)),
        *("--logbook", folder / "book"),
    )


def analyse(book: Logbook, workers: int) -> tuple[float, float]:
    """Work out everything about every run anew; return seconds and MB."""
    other = 1100 + workers
    toml = (
        SPEC.replace("idle_rpm = 1100", f"idle_rpm = {other}")
        .replace("redline_rpm = 7600", f"redline_rpm = 7600\nfatigue_exponent = 5.{other}")
        .replace("limit_kpa = 180.0", f"limit_kpa = 180.{other}")
    )
    with book.register.writing() as session:
        engines.set_spec(session, "E1", toml)  # a limit of every kind, and of the exposure
    return babbitt("detect", "--workers", str(workers), "--logbook", book.root)


def read_columns(path: Path) -> None:
    """Read what the analysis needs of a run, and nothing more."""
    pa.set_cpu_count(1)
    names = [column for name in WATCHED for column in (name, f"{name}_flag")]
    pq.read_table(path, columns=["time_s", *names], use_threads=False)


def seconds_with(workers: int, function: Callable[[Path], None], paths: list[Path]) -> float:
    """How long so many processes take to call a function for every path."""
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        list(pool.map(time.sleep, [0.5] * workers))  # starts them
        began = time.perf_counter()
        list(pool.map(function, paths))
        return time.perf_counter() - began


def snappy_bytes(path: Path) -> int:
    """How large the run of a file is as pyarrow writes it by default."""
    sink = pa.BufferOutputStream()
    pq.write_table(pq.read_table(path).replace_schema_metadata(None), sink)
    size: int = sink.getvalue().size
    return size


def by_pandas(book: Logbook, run_ids: list[str], surface: PressureSurface) -> float:
    """Seconds that the pandas script takes for some runs, reading them included."""
    began = time.perf_counter()
    for run_id in run_ids:
        find_events(frame_of(book.read_run("E1", run_id)), make_spec(), surface)
    return time.perf_counter() - began


def by_sql(book: Logbook, run_ids: list[str], surface: PressureSurface, threads: int) -> float:
    """Seconds that DuckDB takes for some runs, reading them included."""
    connection = duckdb.connect()
    connection.execute(f"SET threads = {threads}")
    began = time.perf_counter()
    for run_id in run_ids:
        count_events(connection, book.root / book.run_name("E1", run_id), make_spec(), surface)
    return time.perf_counter() - began


def measure(samples: int, folder: Path) -> list[tuple[str, str, str]]:
    """Return the rows of the table: what, with one worker, with two."""
    logs = folder / "logs"
    logs.mkdir()
    count = max(1, samples // RUN_SAMPLES)
    began = time.perf_counter()
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        list(pool.map(partial(write_log, logs), range(count)))
    print(f"made {count} logs in {time.perf_counter() - began:.0f} s", flush=True)
    csv_bytes = sum(path.stat().st_size for path in logs.iterdir())
    samples = count * RUN_SAMPLES

    ingested = {}
    for workers in (1, 2):
        home = folder / f"with{workers}"
        home.mkdir()
        ingested[workers] = take_in(home, logs, workers)
        print(f"taken in with {workers}: {ingested[workers][0]:.0f} s", flush=True)
    books = [open_logbook(folder / f"with{workers}" / "book") for workers in (1, 2)]
    shutil.rmtree(logs)
    book = books[1]
    same_files(*books)
    analysed = {workers: analyse(book, workers) for workers in (1, 2)}
    for workers in (1, 2):
        print(f"analysed with {workers}: {analysed[workers][0]:.0f} s", flush=True)
    with book.register.reading() as session:
        run_ids = [run.run_id for run in runs.list_runs(session)]
        found = len(events.list_events(session))
        surface = builds.surface_of(session, builds.builds_of(session, "E1")[0])
    if surface is None:
        raise SystemExit("no expected pressure was learned")
    expected = PressureSurface.from_json(surface.text)
    paths = [book.root / book.run_name("E1", run_id) for run_id in run_ids]
    read = {workers: seconds_with(workers, read_columns, paths) for workers in (1, 2)}
    some = run_ids[:BY_SCRIPT]
    share = len(run_ids) / len(some)
    pandas_s = share * by_pandas(book, some, expected)
    sql_s = {threads: share * by_sql(book, some, expected, threads) for threads in (1, 2)}
    kept = sum(path.stat().st_size for path in paths) / samples
    snappy = sum(map(snappy_bytes, paths[:BY_SCRIPT])) / (RUN_SAMPLES * len(paths[:BY_SCRIPT]))
    originals = sum(path.stat().st_size for path in (book.root / "originals").rglob("*.zst"))

    def both(values: dict[int, float], unit: str) -> tuple[str, str]:
        return f"{values[1]:,.1f} {unit}", f"{values[2]:,.1f} {unit}"

    def ratio(of: dict[int, float], to: dict[int, float]) -> tuple[str, str]:
        return f"{of[1] / to[1]:.2f}", f"{of[2] / to[2]:.2f}"

    ingest_s = {workers: seconds for workers, (seconds, _) in ingested.items()}
    full_s = {workers: seconds for workers, (seconds, _) in analysed.items()}
    rate = {workers: csv_bytes / 1e6 / seconds for workers, seconds in ingest_s.items()}
    return [
        (f"ingest of {csv_bytes / GIGABYTE:.1f} GB, {count} logs", *both(ingest_s, "s")),
        ("the same, CSV a second", *both(rate, "MB")),
        ("the same, most memory held", *both({w: m for w, (_, m) in ingested.items()}, "MB")),
        (f"full analysis, {found:,} events", *both(full_s, "s")),
        ("the same, most memory held", *both({w: m for w, (_, m) in analysed.items()}, "MB")),
        ("reading the needed columns with pyarrow", *both(read, "s")),
        ("full analysis / reading (aim 3)", *ratio(full_s, read)),
        ("one worker / two: ingest", "", f"{ingest_s[1] / ingest_s[2]:.2f}"),
        ("one worker / two: full analysis", "", f"{full_s[1] / full_s[2]:.2f}"),
        (f"pandas script, from {len(some)} runs", f"{pandas_s:,.1f} s", ""),
        (f"DuckDB SQL, from {len(some)} runs", *both(sql_s, "s")),
        ("run on disk, a sample", f"{kept:.2f} bytes", ""),
        ("the same as snappy Parquet by default", f"{snappy:.2f} bytes", ""),
        ("run on disk / snappy (aim 0.40)", f"{kept / snappy:.2f}", ""),
        ("original on disk, a sample", f"{originals / samples:.2f} bytes", ""),
        ("CSV, a sample", f"{csv_bytes / samples:.2f} bytes", ""),
    ]


def same_files(one: Logbook, other: Logbook) -> None:
    """Stop where the files of two logbooks differ."""
    for folder in ("runs", "originals"):
        names = one.files.names(folder)
        if names != other.files.names(folder):
            raise SystemExit("one and two workers took in different logs")
        for name in names:
            if one.files.open(name).read() != other.files.open(name).read():
                raise SystemExit(f"{name} differs between one and two workers")


def main() -> int:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=lambda text: int(float(text)), default=100_000_000)
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        needed = 120 * given.samples
        if shutil.disk_usage(folder).free < needed:
            print(f"{folder} has less than {needed / GIGABYTE:.0f} GB free: set TMPDIR.")
            return 1
        rows = measure(given.samples, folder)
    title = f"A season of {given.samples / 1e6:g} million samples"
    table = as_markdown(title, ("what", "1 worker", "2 workers"), rows)
    publish(table, given.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())
