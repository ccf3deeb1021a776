"""Many at once: eight take logs in, a browser looks and reviews, a backup runs, one only reads.

`make crowd` runs this on SQLite and on PostgreSQL. Each log must come in once and everything be as
where one did it all; nobody may be told that the database is locked, and reading the register must
not wait for who writes. How long reads take is shown beside the same reads of a logbook that
nobody works on, which wait for nothing but this machine.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

import numpy as np
from jobs import BUILT, WHO
from served import Pages, serving
from sqlalchemy import URL, create_engine
from telling import differences, doubles, faults_of, tell

import postgres
from babbitt.logbook.folder import create_logbook, open_logbook, settings_text
from babbitt.register.records import engines, events, runs
from shop import SPEC, Result, run, write_minute

PROCESSES = 8
MOST_MS = 250.0
"""No read of the register may wait longer for who writes: than the longest of the idle ones."""

_CONTEXT = multiprocessing.get_context("spawn")
_PAUSE_S = 0.02
_AT_ONCE = 6
"""So many logs are taken in with one command."""


@dataclass(frozen=True)
class Crowd:
    """What became of a crowd.

    Attributes:
        took_s: until all logs were in.
        reads_ms: how long reads of the register took meanwhile.
        idle_ms: the same reads of a logbook that nobody works on, taken in turn with these.
        looks: pages that were looked at.
        reviews: events that were reviewed there.
        backups: that were written, the last of which was restored.
        wrong: a sentence each.
    """

    took_s: float
    reads_ms: np.ndarray
    idle_ms: np.ndarray
    looks: int
    reviews: int
    backups: int
    wrong: tuple[str, ...]

    @property
    def waited_ms(self) -> float:
        """How much longer the longest read took than the longest idle one."""
        return float(self.reads_ms.max() - self.idle_ms.max())


def make_shop(folder: Path, url: URL | None = None) -> Path:
    """Make a folder with a logbook of one engine, its register in a file or on a server."""
    register = "" if url is None else f'register = "{url.render_as_string(hide_password=False)}"\n'
    book = create_logbook(folder / "book", register + settings_text())
    with book.register.writing(WHO) as session:
        engines.add_engine(session, "E1", SPEC, built_at=BUILT)
    book.register.close()
    return folder


def gather(busy: Path, idle: Path, logs: Sequence[Path], chance: random.Random) -> Crowd:
    """Let a crowd work on a logbook.

    Args:
        busy: a new shop; the crowd works here.
        idle: another; one alone takes the same logs in there first.
        logs: half of them are for everybody, the others for one each.
        chance: brings the logs in another order for each.
    """
    shared, own = logs[::2], logs[1::2]
    alone = run("--logbook", idle / "book", "ingest", *logs, "--engine", "E1")
    wrong = _trouble(alone)
    over, helpers = threading.Event(), ThreadPoolExecutor(PROCESSES + 2)
    here, there = _CONTEXT.Pipe()
    stop = _CONTEXT.Event()
    reader = _CONTEXT.Process(target=_read, args=(busy, idle, stop, there))
    with serving(busy / "book") as pages, helpers:
        reader.start()
        here.recv()
        looking = helpers.submit(_look, pages, busy, over)
        keeping = helpers.submit(_back_up, busy, over)
        began = time.perf_counter()
        working = []
        for n in range(PROCESSES):
            mine = [*shared, *own[n::PROCESSES]]
            working.append(helpers.submit(_take_in, busy, chance.sample(mine, len(mine))))
        done = [result for each in working for result in each.result()]
        took_s = time.perf_counter() - began
        stop.set()
        over.set()
        reads_ms, idle_ms = here.recv()
        reader.join()
        looks, reviews = looking.result()
        kept = keeping.result()
    for result in (*done, *kept):
        wrong += _trouble(result)
    wrong += _not_once(done, logs)
    wrong += faults_of(busy)
    told, after = tell(busy), tell(idle)
    wrong += [f"{name}: counts twice" for name in doubles(told)]
    wrong += differences(_unreviewed(told), _unreviewed(after))
    reviewed = sum(each.endswith(" confirmed") for each in told["events"])
    if reviewed != reviews:
        wrong.append(f"{reviews} reviews were made and {reviewed} are there")
    wrong += _trouble(run("restore", busy / f"{len(kept) - 1}.tar", busy / "restored"))
    return Crowd(took_s, reads_ms, idle_ms, looks, reviews, len(kept), tuple(wrong))


def _take_in(busy: Path, logs: Sequence[Path]) -> list[Result]:
    """Take logs in, a few with each command."""
    return [
        run("--logbook", busy / "book", "ingest", *some, "--engine", "E1", "--json")
        for some in (logs[n : n + _AT_ONCE] for n in range(0, len(logs), _AT_ONCE))
    ]


def _trouble(result: Result) -> list[str]:
    if result.status == 0 and "locked" not in result.out + result.err:
        return []
    return [f"exit status {result.status}: {' '.join((result.out + result.err).split())}"]


def _not_once(done: Sequence[Result], logs: Sequence[Path]) -> list[str]:
    taken = Counter(
        intake["file"]
        for result in done
        for intake in result.json
        if intake["status"] == "ingested"
    )
    return [f"{log} was taken in {taken[str(log)]} times" for log in logs if taken[str(log)] != 1]


def _unreviewed(told: dict[str, Any]) -> dict[str, list[str]]:
    """Return what does not depend on who did what in which order, and on what was reviewed."""
    return {
        "runs": sorted(told["runs"]),
        "events": sorted(each.rpartition(" ")[0] for each in told["events"]),
        "totals": told["totals"],
        "files": [each for each in told["files"] if each.startswith("book/")],
    }


def _look(pages: Pages, busy: Path, over: threading.Event) -> tuple[int, int]:
    """Look at pages and confirm events until all is over; return how many of each."""
    book = open_logbook(busy / "book")
    looks, reviewed = 0, set()
    while not over.is_set():
        with book.register.reading() as session:
            found = events.list_events(session)
        for event in [each.event for each in found if each.event.event_id not in reviewed][:1]:
            pages.review(event.event_id, "seen")
            reviewed.add(event.event_id)
            pages.look(f"/run/{event.run_id}")
        for path in ("/", "/runs"):
            pages.look(path)
            looks += 1
    book.register.close()
    return looks, len(reviewed)


def _back_up(busy: Path, over: threading.Event) -> list[Result]:
    """Back up again and again until all is over."""
    done = []
    while not over.is_set():
        done.append(run("--logbook", busy / "book", "backup", busy / f"{len(done)}.tar"))
    return done


def _read(busy: Path, idle: Path, stop: Event, there: Any) -> None:
    """Read two logbooks in turn, and send how long each read took, ms."""
    books = [open_logbook(folder / "book") for folder in (busy, idle)]
    took: list[list[float]] = [[], []]
    there.send(None)
    while not stop.is_set():
        for book, times in zip(books, took, strict=True):
            began = time.perf_counter()
            with book.register.reading() as session:
                runs.list_runs(session)
                events.list_events(session)
            times.append(1000.0 * (time.perf_counter() - began))
        time.sleep(_PAUSE_S)
    there.send([np.array(times) for times in took])


def write_logs(folder: Path, count: int) -> list[Path]:
    """Write logs of as many hours, each with an over-rev."""
    folder.mkdir()
    return [
        write_minute(
            folder / f"run{n:02d}.csv",
            start=f"2026-05-{1 + n // 10:02d}T{10 + n % 10}:00:00Z",
            peak_rpm=8000.0,
        )
        for n in range(count)
    ]


@contextmanager
def databases(name: str) -> Iterator[Callable[[], URL | None]]:
    """Yield what returns the address of a new register: None for a file in the logbook."""
    if name == "sqlite":
        yield lambda: None
        return
    with postgres.server() as server:
        names = iter(("busy", "idle"))

        def make() -> URL:
            made = next(names)
            engine = create_engine(server, isolation_level="AUTOCOMMIT")
            with engine.connect() as connection:
                connection.exec_driver_sql(f"CREATE DATABASE {made}")
            engine.dispose()
            return server.set(database=made)

        yield make


def crowd(database: str, logs: int, seed: int) -> Crowd:
    """Make what a crowd needs, and let it work.

    Args:
        database: sqlite or postgresql.
        logs: how many.
        seed: of the order in which each takes them in.
    """
    with tempfile.TemporaryDirectory() as scratch, databases(database) as address:
        folder = Path(scratch)
        busy, idle = (make_shop(folder / name, address()) for name in ("busy", "idle"))
        return gather(busy, idle, write_logs(folder / "logs", logs), random.Random(seed))


def main() -> None:
    """Let a crowd work on each database, print what came of it, and fail where that is wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=64)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    bad = 0
    for database in ("sqlite", "postgresql"):
        done = crowd(database, asked.logs, asked.seed)
        bad += len(done.wrong) + (done.waited_ms > MOST_MS)
        sys.stdout.write(
            f"{database}: {asked.logs} logs by {PROCESSES} processes in {done.took_s:.1f} s; "
            f"{done.looks} pages, {done.reviews} reviews, {done.backups} backups\n"
        )
        for name, times in (("reads", done.reads_ms), ("idle reads", done.idle_ms)):
            middle, most_of, nearly_all = np.quantile(times, (0.5, 0.95, 0.99))
            sys.stdout.write(
                f"  {name:<11}{len(times):6}: median {middle:.1f} ms, 95 % {most_of:.1f}, "
                f"99 % {nearly_all:.1f}, longest {times.max():.1f}\n"
            )
        for sentence in done.wrong:
            sys.stdout.write(f"  {sentence}\n")
        sys.stdout.flush()
    if bad:
        raise SystemExit(f"{bad} things went wrong.")


if __name__ == "__main__":
    main()
