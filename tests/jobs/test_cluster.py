"""A Dask cluster of real processes on loopback: the same outcome, though a worker is killed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import distributed
import pytest

from babbitt.errors import LogbookError
from babbitt.ingest.source import Instructions
from babbitt.jobs.backlog import take_in
from babbitt.jobs.cluster import connected, on_cluster
from babbitt.jobs.detect import Apply, judge_engine
from babbitt.jobs.ingest import incoming_folder
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook
from held import HELD, PATIENCE_S, held_once
from small_logs import contents, make_book, write_season

FOR_E1 = Instructions(engine_id="E1")


@dataclass
class Cluster:
    """A scheduler and its workers, processes each."""

    folder: Path
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def address(self) -> str:
        return str(json.loads((self.folder / "scheduler.json").read_text())["address"])

    def add_worker(self) -> None:
        self.workers.append(
            start(self.folder, "worker", "--nthreads", "1", "--no-nanny", "--no-dashboard")
        )

    def wait(self) -> None:
        with connected(self.address) as client:
            client.wait_for_workers(sum(each.poll() is None for each in self.workers), PATIENCE_S)

    def kill_the_held(self) -> None:
        """Kill the worker that is held in the middle of a call."""
        until = time.monotonic() + PATIENCE_S
        while not (self.folder / HELD).exists():
            assert time.monotonic() < until, "no worker came to the call at which it is held"
            time.sleep(0.01)
        pid = int((self.folder / HELD).read_text())
        (victim,) = (each for each in self.workers if each.pid == pid)
        victim.kill()
        victim.wait()


def start(folder: Path, kind: str, *options: str) -> subprocess.Popen[bytes]:
    with (folder / f"{kind}.log").open("ab") as log:
        return subprocess.Popen(
            [
                *(sys.executable, "-m", f"distributed.cli.dask_{kind}"),
                *("--host", "127.0.0.1", "--scheduler-file", folder / "scheduler.json"),
                *options,
            ],
            stdout=log,
            stderr=log,
            cwd=folder,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    folder = tmp_path / "cluster"
    folder.mkdir()
    there = Cluster(folder, start(folder, "scheduler", "--port", "0", "--no-dashboard"))
    try:
        until = time.monotonic() + PATIENCE_S
        while not (folder / "scheduler.json").exists():
            assert time.monotonic() < until, (folder / "scheduler.log").read_text()
            time.sleep(0.05)
        for _ in range(2):
            there.add_worker()
        there.wait()
        yield there
    finally:
        for process in (*there.workers, there.scheduler):
            process.kill()
            process.wait()


def killing(apply: Apply, cluster: Cluster, after: int) -> Apply:
    """Return the `map` that loses a worker, which is at the next call, after so many answers."""

    def lossy(function: Callable[..., Any], items: Iterable[Any], /) -> Iterator[Any]:
        held = partial(held_once, function, after, cluster.folder)
        for count, answer in enumerate(apply(held, enumerate(items)), start=1):
            yield answer
            if count == after:
                cluster.kill_the_held()

    return lossy


def busy_before(make: Callable[..., Any], times: int) -> Callable[..., Any]:
    """Return the maker of clients that so often finds its thread not running in time."""
    left = iter(range(times))

    def busy(*args: Any, **kwargs: Any) -> Any:
        if next(left, None) is not None:
            raise AssertionError
        return make(*args, **kwargs)

    return busy


def take_in_all(book: Logbook, logs: list[Path], apply: Apply, judge: Apply) -> list[Intake]:
    with incoming_folder(book) as folder:
        intakes = list(take_in(book, logs, FOR_E1, folder, apply=apply))
    assert judge_engine(book, "E1", apply=judge).failures == ()
    return intakes


@pytest.mark.parametrize("at", ["reading", "searching"])
def test_a_killed_worker_loses_nothing_and_doubles_nothing(
    cluster: Cluster, tmp_path: Path, at: str
) -> None:
    logs = write_season(tmp_path / "logs", logs=8)
    alone = make_book(tmp_path / "alone")
    intakes = take_in_all(alone, logs, map, map)
    book = make_book(tmp_path / "book")
    with on_cluster(cluster.address) as apply:
        lossy = killing(apply, cluster, after=3)
        reading, searching = (lossy, apply) if at == "reading" else (apply, lossy)
        assert take_in_all(book, logs, reading, searching) == intakes
    assert sum(worker.poll() is not None for worker in cluster.workers) == 1
    assert contents(book) == contents(alone)
    names = [name for folder in ("runs", "originals") for name in alone.files.names(folder)]
    assert names == [n for folder in ("runs", "originals") for n in book.files.names(folder)]
    for name in names:
        assert book.files.open(name).read() == alone.files.open(name).read()
    assert verify(book).faults == ()
    assert verify(book).unfinished == ()


def test_a_cluster_that_is_not_there_is_said_in_a_sentence() -> None:
    with (
        pytest.raises(LogbookError, match="No cluster answers at nowhere"),
        on_cluster("nowhere"),
    ):
        pass


def test_a_busy_machine_is_asked_again(cluster: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    make = busy_before(distributed.Client, times=2)
    monkeypatch.setattr("distributed.Client", make)
    with on_cluster(cluster.address) as apply:
        assert list(apply(abs, [-1])) == [1]


def test_a_machine_that_stays_busy_is_said_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("distributed.Client", busy_before(distributed.Client, times=100))
    with pytest.raises(LogbookError, match="too busy to speak"), on_cluster("nowhere"):
        pass


def test_a_cluster_that_is_lost_is_said_in_a_sentence(cluster: Cluster, tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    logs = write_season(tmp_path / "logs", logs=30)  # more than are handed out at once
    with on_cluster(cluster.address) as apply, incoming_folder(book) as folder:
        taking = take_in(book, logs, FOR_E1, folder, apply=apply)
        assert next(taking).status == "ingested"
        cluster.scheduler.kill()
        with pytest.raises(LogbookError, match="was lost: repeat the command"):
            list(taking)
    assert verify(book).faults == ()


def test_a_call_that_never_reached_the_cluster_is_not_waited_for_for_ever(cluster: Cluster) -> None:
    with on_cluster(cluster.address) as apply:
        assert list(apply(abs, [-1])) == [1]
        calls = apply(abs, iter([-2, -3]))
        cluster.scheduler.kill()
        with pytest.raises(LogbookError, match="was lost: repeat the command"):
            list(calls)
