"""Changes of the register that move the files of runs: both move together, or neither."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace

from pipeline.logbook import Logbook, saying_what_failed, whole_file, write_run
from pipeline.register import Session, corrections, runs
from pipeline.register import undo as undoing
from pipeline.register.values import JournalEntry, RunRecord


def assign_run(book: Logbook, run_id: str, engine_id: str, *, reason: str, who: str) -> RunRecord:
    """Move a run to the engine that really made it; both engines' runs then need judging.

    Returns:
        The run as it was before.

    Raises:
        RegisterError: no such run or engine, or the run cannot be that engine's.
        LogbookError: the run's file cannot be read or written.
    """
    with _writing_with_files(book, who) as (session, files):
        before = runs.find_run(session, run_id)
        corrections.assign_run(session, before.run_id, engine_id, reason)
        _follow(book, before.run_id, before.engine_id, engine_id, files)
    return before


def undo(
    book: Logbook,
    engine_id: str | None = None,
    *,
    entry_id: int | None = None,
    reason: str,
    who: str,
) -> JournalEntry:
    """Take back one change, or the newest that holds, of one engine or of all (register/undo.py).

    Raises:
        RegisterError: there is none, or its record was changed since.
        LogbookError: the file of a run cannot be read or written.
    """
    with _writing_with_files(book, who) as (session, files):
        entry = undoing.undo(session, engine_id=engine_id, entry_id=entry_id, reason=reason)
        _follow_all(book, entry, files)
    return entry


def redo(book: Logbook, engine_id: str | None = None, *, reason: str, who: str) -> JournalEntry:
    """Do again what the newest undo that holds took back; raises as `undo` does."""
    with _writing_with_files(book, who) as (session, files):
        entry = undoing.redo(session, engine_id=engine_id, reason=reason)
        _follow_all(book, entry, files)
    return entry


@contextmanager
def _writing_with_files(book: Logbook, who: str) -> Iterator[tuple[Session, ExitStack]]:
    """Yield a writing session, and a stack of files that get their names before it commits."""
    with (
        saying_what_failed("cannot move a run's file"),
        ExitStack() as files,
        book.register.writing(who) as session,
    ):
        yield session, files
        files.close()


def _follow_all(book: Logbook, entry: JournalEntry, files: ExitStack) -> None:
    """Put the files of runs where a change of the register says that they are."""
    for change in entry.changes:
        before, after = change.before or {}, change.after or {}
        if change.record == "run" and "engine_id" in before:
            _follow(book, change.record_id, before["engine_id"], after["engine_id"], files)


def _follow(book: Logbook, run_id: str, was: str, now: str, files: ExitStack) -> None:
    """Write the file of a run that changed engines; the old one goes once the new one is there."""
    old, new = book.run_path(was, run_id), book.run_path(now, run_id)
    if not old.exists():
        return  # unlogged running has no file
    run = book.read_run(was, run_id)

    def leave(failed: type[BaseException] | None, *_: object) -> None:
        if failed is None:
            old.unlink()

    files.push(leave)  # before the new file, so after it when they are closed
    part = files.enter_context(whole_file(new))
    write_run(replace(run, info=replace(run.info, engine_id=now)), part)
