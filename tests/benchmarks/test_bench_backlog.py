"""A backlog of logs: two workers against one, and the same logs again against hashing them."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pytest
from large import HEADERS
from ratios import paired_seconds
from season import make_run

from babbitt.ingest.source import Instructions
from babbitt.jobs.backlog import in_order, process_pool, take_in
from babbitt.jobs.detect import Apply, judge_engine
from babbitt.jobs.ingest import incoming_folder
from babbitt.logbook.folder import Logbook
from small_logs import make_book

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


@contextmanager
def cores(count: int) -> Iterator[None]:
    """Keep this process, and those that it starts, to so many cores while the block lasts."""
    allowed = os.sched_getaffinity(0)
    os.sched_setaffinity(0, sorted(allowed)[:count])
    try:
        yield
    finally:
        os.sched_setaffinity(0, allowed)


@pytest.fixture(params=[1, 2], ids=["a core each", "two cores"])
def pools(request: pytest.FixtureRequest) -> Iterator[dict[int, tuple[int, Executor]]]:
    """Pools of one and of two processes that have started and loaded what they need.

    One alone is kept to one core or not: it compresses and writes beside what it reads, so that a
    second core helps it, too.
    """
    with process_pool(1) as one, process_pool(2) as two:
        with cores(request.param):
            list(one.map(time.sleep, [0.0]))
        list(two.map(time.sleep, [2.0, 2.0]))
        yield {1: (request.param, one), 2: (2, two)}


def take_all(book: Logbook, logs: list[Path], apply: Apply = map) -> None:
    with incoming_folder(book) as folder:
        taken = list(take_in(book, logs, FOR_E1, folder, apply=apply))
    assert all(intake.status != "refused" for intake in taken)
    assert judge_engine(book, "E1", apply=apply).failures == ()


@pytest.mark.skipif(
    not hasattr(os, "sched_setaffinity") or len(os.sched_getaffinity(0)) < 2,
    reason="two workers need two cores that they can be kept to",
)
def test_two_workers_against_one(
    benchmark,
    keep_row,
    request: pytest.FixtureRequest,
    logs: list[Path],
    pools: dict[int, tuple[int, Executor]],
    tmp_path: Path,
) -> None:
    numbers = count()

    def take(workers: int) -> None:
        book = make_book(tmp_path / f"book{next(numbers)}")
        on, pool = pools[workers]
        with cores(on):
            take_all(book, logs, in_order(pool, 8 * workers))

    pairs = paired_seconds(lambda: take(2), lambda: take(1), rounds=ROUNDS)
    benchmark.pedantic(take, args=(2,), rounds=1)
    keep_row(
        f"a backlog of 24 logs of 2 MB, {request.node.callspec.id}: with one worker / with two",
        [one / two for two, one in pairs],
        reach=1.8,
        aim=1.95,
    )


def test_the_same_logs_again(benchmark, keep_row, logs: list[Path], tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    take_all(book, logs)

    def hash_them() -> list[str]:
        return [hashlib.sha256(path.read_bytes()).hexdigest() for path in logs]

    pairs = paired_seconds(lambda: take_all(book, logs), hash_them, rounds=ROUNDS)
    benchmark.pedantic(take_all, args=(book, logs), rounds=1)
    keep_row(
        "a backlog that is in the logbook already / hashing it",
        [again / hashing for again, hashing in pairs],
        reach=3.0,
        aim=2.0,
    )
