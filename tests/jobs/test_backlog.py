"""Many logs at once: the same outcome whoever reads them, and nothing half done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from babbitt.errors import LogbookError
from babbitt.ingest.source import Instructions
from babbitt.jobs.backlog import in_order, process_pool, take_in
from babbitt.jobs.detect import Apply, judge_engine
from babbitt.jobs.ingest import Incoming, incoming_folder, read_in, record
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook
from babbitt.register.tables.store import Register
from small_logs import contents, make_book, write_log, write_season

FOR_E1 = Instructions(engine_id="E1")


def take_in_all(book: Logbook, logs: list[Path], apply: Apply = map) -> list[Intake]:
    with incoming_folder(book) as folder:
        intakes = list(take_in(book, logs, FOR_E1, folder, apply=apply))
    assert judge_engine(book, "E1", apply=apply).failures == ()
    return intakes


def test_the_outcome_does_not_depend_on_the_workers(tmp_path: Path) -> None:
    logs = write_season(tmp_path / "logs", logs=8)
    alone = make_book(tmp_path / "alone")
    intakes = take_in_all(alone, logs)
    statuses = [intake.status for intake in intakes]
    assert [statuses.count(each) for each in ("ingested", "duplicate", "refused")] == [8, 1, 2]
    assert [Path(intake.file) for intake in intakes] == logs

    among_threads = make_book(tmp_path / "threads")
    with ThreadPoolExecutor(4) as threads:
        assert take_in_all(among_threads, logs, in_order(threads, 6)) == intakes
    assert contents(among_threads) == contents(alone)
    among_processes = make_book(tmp_path / "processes")
    with process_pool(2) as processes:
        assert take_in_all(among_processes, logs, in_order(processes, 6)) == intakes
    assert contents(among_processes) == contents(alone)
    for book in (alone, among_threads, among_processes):
        assert verify(book).faults == ()
        assert not list(book.root.glob(".*"))


def test_a_second_time_all_are_duplicates(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    logs = [write_log(tmp_path / f"{h}.csv", f"2026-05-01T{h}:00:00Z") for h in (10, 11, 12)]
    first = take_in_all(book, logs)
    before = contents(book)
    again = take_in_all(book, logs)
    assert [intake.status for intake in again] == ["duplicate"] * 3
    assert [intake.run_id for intake in again] == [intake.run_id for intake in first]
    assert contents(book) == before


def test_what_is_cut_off_leaves_what_was_recorded_and_nothing_else(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    logs = [write_log(tmp_path / f"{h}.csv", f"2026-05-01T{h}:00:00Z") for h in range(10, 18)]
    with incoming_folder(book) as folder, ThreadPoolExecutor(2) as threads:
        taking = take_in(book, logs, FOR_E1, folder, apply=in_order(threads, 4))
        assert [next(taking).status for _ in range(3)] == ["ingested"] * 3
        taking.close()
    assert len(contents(book)[0]) == 3
    assert not list(book.root.glob(".*"))
    judge_engine(book, "E1")
    assert verify(book).faults == ()


def test_ctrl_c_just_after_the_record_was_kept_leaves_its_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = make_book(tmp_path / "book")
    log = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")
    writing = Register.writing

    @contextmanager
    def interrupted(register: Register) -> Iterator[Any]:
        with writing(register) as session:
            yield session
        raise KeyboardInterrupt

    with incoming_folder(book) as folder:
        incoming = read_in(book, log, FOR_E1, folder)
        assert isinstance(incoming, Incoming)
        with monkeypatch.context() as patched:
            patched.setattr(Register, "writing", interrupted)
            with pytest.raises(KeyboardInterrupt):
                record(book, incoming)
    judge_engine(book, "E1")
    assert verify(book).runs == 1
    assert verify(book).faults == ()


class DyingPool(Executor):
    """Answers so many calls, and then breaks as a pool does whose worker was killed."""

    def __init__(self, answers: int) -> None:
        self.answers = answers

    def submit(self, fn: Callable[..., Any], /, *args: Any, **named: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self.answers -= 1
        if self.answers >= 0:
            future.set_result(fn(*args, **named))
        else:
            future.set_exception(BrokenProcessPool("a worker died"))
        return future


def test_a_worker_that_dies_is_said_in_a_sentence(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    logs = [write_log(tmp_path / f"{h}.csv", f"2026-05-01T{h}:00:00Z") for h in (10, 11, 12)]
    with incoming_folder(book) as folder:
        taking = take_in(book, logs, FOR_E1, folder, apply=in_order(DyingPool(1), 2))
        assert next(taking).status == "ingested"
        with pytest.raises(LogbookError, match="ended from outside"):
            next(taking)
    assert len(contents(book)[0]) == 1
    assert not list(book.root.glob(".*"))
