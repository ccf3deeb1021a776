"""A backlog of logs: two workers against one, and the same logs again against hashing them."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from itertools import count
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pytest
from large import HEADERS
from ratios import paired_seconds
from season import make_run
from small_logs import make_book

from pipeline.backlog import in_order, process_pool, take_in
from pipeline.flow import incoming_folder
from pipeline.ingest.source import Instructions
from pipeline.judging import Apply, judge_engine
from pipeline.logbook import Logbook

LOGS = 24
SAMPLES = 50_000
"""Eight minutes at 100 Hz: 2 MB."""
ROUNDS = 5
FOR_E1 = Instructions(engine_id="E1")


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("backlog")
    paths = [folder / f"run{i:02d}.csv" for i in range(LOGS)]
    for i, path in enumerate(paths):
        run = make_run(SAMPLES, seed=i + 1)
        columns = {"Time (s)": run.time_s.round(2)}
        columns |= {HEADERS[name]: signal.values for name, signal in run.signals.items()}
        with path.open("wb") as file:
            file.write(f"Start,2026-05-{1 + i:02d}T10:00:00Z\n".encode())
            pa.csv.write_csv(pa.table(columns), file)
    return paths


@pytest.fixture
def pools() -> Iterator[dict[int, Executor]]:
    """Pools of one and of two processes that have started and loaded what they need."""
    with process_pool(1) as one, process_pool(2) as two:
        list(one.map(time.sleep, [0.0]))
        list(two.map(time.sleep, [2.0, 2.0]))
        yield {1: one, 2: two}


def take_all(book: Logbook, logs: list[Path], apply: Apply = map) -> None:
    with incoming_folder(book) as folder:
        taken = list(take_in(book, logs, FOR_E1, folder, apply=apply))
    assert all(intake.status != "refused" for intake in taken)
    assert judge_engine(book, "E1", apply=apply).failures == ()


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="two workers need two cores")
def test_two_workers_against_one(
    benchmark, assert_ratio, logs: list[Path], pools: dict[int, Executor], tmp_path: Path
) -> None:
    numbers = count()

    def take(workers: int) -> None:
        book = make_book(tmp_path / f"book{next(numbers)}")
        take_all(book, logs, in_order(pools[workers], 8 * workers))

    pairs = paired_seconds(lambda: take(2), lambda: take(1), rounds=ROUNDS)
    benchmark.pedantic(take, args=(2,), rounds=1)
    assert_ratio(
        "a backlog of 24 logs of 2 MB with one worker / with two",
        [one / two for two, one in pairs],
        reach=1.8,
        aim=1.95,
    )


def test_the_same_logs_again(benchmark, assert_ratio, logs: list[Path], tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    take_all(book, logs)

    def hash_them() -> list[str]:
        return [hashlib.sha256(path.read_bytes()).hexdigest() for path in logs]

    pairs = paired_seconds(lambda: take_all(book, logs), hash_them, rounds=ROUNDS)
    benchmark.pedantic(take_all, args=(book, logs), rounds=1)
    assert_ratio(
        "a backlog that is in the logbook already / hashing it",
        [again / hashing for again, hashing in pairs],
        reach=3.0,
        aim=2.0,
    )
