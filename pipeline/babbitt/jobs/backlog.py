"""Many logs at once: workers read and normalise, one process records, in the order of the logs."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from functools import partial
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import pyarrow as pa

from babbitt.errors import LogbookError
from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import Apply
from babbitt.jobs.ingest import Half, Overlap, Told, read_in, record
from babbitt.jobs.ingest_result import Intake
from babbitt.logbook.folder import Logbook
from babbitt.model.records import RunRecord

_AHEAD = 8
"""Logs a worker may be ahead of the one that is recorded next."""

_LOG_S, _BYTES_PER_S = 0.05, 50e6
"""Reading takes about so long a log and a byte."""

_RUN_S, _SAMPLES_PER_S = 0.02, 5e6
"""Searching takes about so long a run and a sample."""

_WORTH_S = 5.0
"""More work than this is worth processes."""

_MOST_WORKERS = 61
"""Windows can wait for no more processes at once."""

P = ParamSpec("P")
T = TypeVar("T")
R = TypeVar("R")


def take_in(
    book: Logbook,
    logs: Iterable[Path],
    instructions: Instructions,
    folder: Path,
    *,
    overlap: Overlap = "refuse",
    apply: Apply = map,
    told: Told | None = None,
) -> Generator[Intake, None, None]:
    """Take logs in, and yield what became of each, in the order of the logs.

    The outcome does not depend on who reads them. What is cut off leaves the logs recorded so far,
    and nothing of the others. The engine is not judged: `judge_engine` does that once, after the
    last.

    Args:
        book: the logbook.
        logs: the files.
        instructions: how to read them, and for which engine.
        folder: for what is read and not recorded yet (`flow.incoming_folder`); it must be there
            until no one reads any more.
        overlap: what to do with one that overlaps another run of the engine in time.
        apply: has the logs read, by other processes perhaps (`in_order`).
        told: is told the share of a log that was read, from 0 to 1, where this process reads it.

    Raises:
        LogbookError: a process that reads died.
    """
    read = partial(_read_in, book, instructions, folder, told if apply is map else None)
    for half in apply(read, logs):
        yield record(book, half, overlap=overlap)


def in_order(
    executor: Executor, ahead: int, answer: Callable[[Future[Any]], Any] = Future.result
) -> Apply:
    """Return a `map` whose function the workers of an executor call.

    Args:
        executor: any; its workers reach the logbook's folder by the same name.
        ahead: so many items are handed to the workers before the first answer is waited for. Who
            stops early shuts the executor down, and they are dropped.
        answer: waits for an answer and returns it.
    """
    return partial(_in_order, executor, ahead, answer)


@contextmanager
def on_cores(work: Sequence[Path | RunRecord], workers: int | None = None) -> Iterator[Apply]:
    """Yield a `map` for work on logs or runs, by processes of this machine where they pay off.

    They start when there is something to do.

    Args:
        work: what may have to be read or searched.
        workers: how many processes; 1: this one. None: one a core, where they pay off.
    """
    count = min(workers or _worth_it(work), max(len(work), 1))
    if count == 1:
        yield map
        return
    with process_pool(count) as pool:
        yield in_order(pool, _AHEAD * count)


@contextmanager
def process_pool(workers: int) -> Iterator[Executor]:
    """Yield a pool of processes; where the block is cut off, what they were at is dropped.

    Args:
        workers: how many.
    """
    # A process that was forked would share the threads and database connections of this one.
    pool = _Pool(workers, get_context("spawn"), _set_up_worker)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown()


class _Pool(ProcessPoolExecutor):
    """A pool whose processes, which the first call starts, never see Ctrl-C."""

    def submit(self, fn: Callable[P, R], /, *args: P.args, **named: P.kwargs) -> Future[R]:
        """Hand out a call."""
        with _ctrl_c_held_back():
            return super().submit(fn, *args, **named)


@contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """Let Ctrl-C wait; processes that start meanwhile never see one."""
    if not hasattr(signal, "pthread_sigmask"):  # on Windows, `_set_up_worker` must do
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _worth_it(work: Iterable[Path | RunRecord]) -> int:
    """Return how many processes should work: one where another would hardly have started."""
    work_s = 0.0
    for each in work:
        if isinstance(each, RunRecord):
            work_s += _RUN_S + each.samples / _SAMPLES_PER_S
            continue
        with suppress(OSError):
            work_s += _LOG_S + each.stat().st_size / _BYTES_PER_S
    return min(_cores(), _MOST_WORKERS) if work_s > _WORTH_S else 1


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _set_up_worker() -> None:
    """Leave Ctrl-C to the process that hands out the work, and the other cores to its workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    pa.set_cpu_count(1)


def _in_order(
    executor: Executor,
    ahead: int,
    answer: Callable[[Future[R]], R],
    function: Callable[[T], R],
    items: Iterable[T],
    /,
) -> Iterator[R]:
    waiting: deque[Future[R]] = deque()
    try:
        for item in items:
            waiting.append(executor.submit(function, item))
            if len(waiting) >= ahead:
                yield answer(waiting.popleft())
        while waiting:
            yield answer(waiting.popleft())
    except BrokenExecutor as error:
        raise LogbookError(
            "A process that worked on logs was ended from outside, for want of memory perhaps: "
            "repeat the command with fewer workers."
        ) from error


def _read_in(
    book: Logbook, instructions: Instructions, folder: Path, told: Told | None, path: Path
) -> Half:
    if told is None:
        return read_in(book, path, instructions, folder)
    return read_in(book, path, instructions, folder, told=told)
