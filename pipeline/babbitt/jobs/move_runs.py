"""Changes of the register that change the files of runs: both change together, or neither."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from babbitt.errors import RegisterError
from babbitt.ingest import kept
from babbitt.ingest.correct import Correction, corrected
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.jobs.ingest import incoming_folder
from babbitt.jobs.read_log import Reading, read_into
from babbitt.logbook.file_store import FileStore
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.run_file import RunWriter
from babbitt.logbook.safe_files import sync
from babbitt.logbook.settings import zone
from babbitt.model.records import JournalEntry, RunRecord
from babbitt.register import Session
from babbitt.register.journal import undo as undoing
from babbitt.register.journal.entries import journal
from babbitt.register.records import builds, corrections, engines, runs, sensors
from babbitt.sensors.summary import SensorSummary


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
        _follow_engine(book, before.run_id, before.engine_id, engine_id, files)
    return before


def reread_run(
    book: Logbook,
    run_id: str,
    correction: Correction,
    *,
    keep_both: bool = False,
    reason: str,
    who: str,
) -> RunRecord:
    """Read the kept log of a run again, and better; its engine's runs then need judging.

    What people said of its events stays with them.

    Args:
        book: the logbook.
        run_id: the run, or the beginning of its id.
        correction: what was wrong with how it was read; with none, it is read as before.
        keep_both: let it overlap a run that the engine has.
        reason: for the journal.
        who: reads it again.

    Returns:
        The run as it is now.

    Raises:
        RegisterError: no such run, it has no log, was removed, or cannot have been then.
        SettingsError: the correction names what does not exist, or the run does not show.
        LogRefusedError: the log cannot be read so.
        LogbookError: the kept log or the run's file cannot be read or written.
    """
    with book.register.reading() as session:
        record = runs.find_run(session, run_id)
        _refuse_unreadable(record)
        text = sensors.summaries_of(session, [record.run_id]).get(record.run_id)
    at_rest = {} if text is None else SensorSummary.from_json(text).standing
    before, file_date = _read_as(book, record)
    better = corrected(
        before,
        correction,
        {channel.name: channel.header for channel in record.channels},
        {name: level.median for name, level in at_rest.items()},
    )
    with _writing_with_files(book, who) as (session, files):
        reading = _read_again(book, session, record, kept.to_json(better, file_date), files)
        sensors.reread_run(session, record, reading.run, reading.read_as, reason)
        if not keep_both:
            runs.refuse_overlap(session, runs.run_row(session, record.run_id))
        _keep(session, reading)
        return runs.find_run(session, record.run_id)


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
        _follow(book, session, entry, files)
    return entry


def redo(book: Logbook, engine_id: str | None = None, *, reason: str, who: str) -> JournalEntry:
    """Do again what the newest undo that holds took back; raises as `undo` does."""
    with _writing_with_files(book, who) as (session, files):
        entry = undoing.redo(session, engine_id=engine_id, reason=reason)
        _follow(book, session, entry, files)
    return entry


class _Files:
    """Files that change with the register; what they replace is kept until it has changed too."""

    def __init__(self, store: FileStore, folder: Path) -> None:
        self.folder = folder
        self._store = store
        self._replaced: list[tuple[str, str | None]] = []
        self._left: list[str] = []

    def put(self, written: Path, name: str) -> None:
        """Give a file of `folder` a name in the store."""
        staged = self._store.stage(written, self.folder)
        before = f"{staged}.before" if self._store.exists(name) else None
        if before is not None:
            self._store.copy(name, before)
        self._replaced.append((name, before))
        self._store.move(staged, name)

    def leave(self, name: str) -> None:
        """Delete a file once the register has changed."""
        self._left.append(name)

    def take_back(self) -> None:
        """Put everything as it was."""
        for name, before in reversed(self._replaced):
            if before is None:
                self._store.delete(name)
            else:
                self._store.move(before, name)

    def settle(self) -> None:
        """Delete what nobody needs any more."""
        for name in self._left:
            self._store.delete(name)


@contextmanager
def _writing_with_files(book: Logbook, who: str) -> Iterator[tuple[Session, _Files]]:
    """Yield a writing session, and the files that change with it."""
    with saying_what_failed("cannot change a run's file"), incoming_folder(book) as folder:
        files = _Files(book.files, folder)
        before = after = 0
        try:
            with book.register.writing(who) as session:
                before = after = _newest_entry(session)
                yield session, files
                after = _newest_entry(session)
        except BaseException:
            # Ctrl-C may come when the register has changed already: the files must go with it.
            if before == after or _newest(book) < after:
                files.take_back()
            else:
                files.settle()
            raise
        files.settle()


def _newest(book: Logbook) -> int:
    with book.register.reading() as session:
        return _newest_entry(session)


def _newest_entry(session: Session) -> int:
    """Return the number of the journal's newest entry, 0 where it has none."""
    return max((entry.entry_id for entry in journal(session, limit=1)), default=0)


def _follow(book: Logbook, session: Session, entry: JournalEntry, files: _Files) -> None:
    """Bring the files of runs to where a change of the register says that they are."""
    for change in entry.changes:
        before, after = change.before or {}, change.after or {}
        if change.record != "run":
            continue
        if "engine_id" in before:
            was, now = before["engine_id"], after["engine_id"]
            _follow_engine(book, change.record_id, was, now, files)
        if "read_as" in before:
            record = runs.find_run(session, change.record_id)
            if record.read_as is None:
                raise RegisterError(
                    f"How the run {record.run_id} was read at first was not kept, so it cannot be "
                    "read so again: correct it with `babbitt run reread`."
                )
            _keep(session, _read_again(book, session, record, record.read_as, files))


def _follow_engine(book: Logbook, run_id: str, was: str, now: str, files: _Files) -> None:
    """Write the file of a run that changed engines; the old one goes once the register changed."""
    old, new = book.run_name(was, run_id), book.run_name(now, run_id)
    if not book.files.exists(old):
        return  # unlogged running has no file
    written = files.folder / f"{run_id}.parquet"
    with RunWriter(written) as writer:
        for part in book.run_parts(was, run_id):
            info = replace(part.info, engine_id=now)
            writer.write(replace(part, info=info))
        writer.finish(info)
    sync(written)
    files.put(written, new)
    files.leave(old)


def _read_again(
    book: Logbook, session: Session, record: RunRecord, read_as: dict[str, Any], files: _Files
) -> Reading:
    """Read the kept log of a run, and put its file in place of the one there is."""
    sha256 = record.source_sha256 or ""
    instructions, file_date = kept.from_json(read_as, record.engine_id)
    source = ReadSource(record.source_name, partial(book.open_original, sha256), sha256, file_date)
    spec = engines.spec_of(session, record.engine_id)
    written = files.folder / f"{record.run_id}.parquet"
    reading = read_into(written, source, instructions, spec, folder=files.folder)
    files.put(written, book.run_name(record.engine_id, record.run_id))
    return reading


def _keep(session: Session, reading: Reading) -> None:
    """Keep what follows from how a run was read."""
    run_id = reading.run.info.run_id
    runs.replace_reading(session, reading.run, reading.exposure)
    builds.save_steady_pressure(session, run_id, reading.steady)
    sensors.save_reading(session, run_id, reading.read_as, reading.sensors)


def _refuse_unreadable(record: RunRecord) -> None:
    if record.source_sha256 is None:
        raise RegisterError(
            f"The run {record.run_id} is unlogged running: there is no log to read again; "
            f"`babbitt correct run {record.run_id}` corrects it."
        )
    if record.removed_at is not None:
        raise RegisterError(
            f"The run {record.run_id} was removed: `babbitt run restore {record.run_id}` first."
        )


def _read_as(book: Logbook, record: RunRecord) -> tuple[Instructions, datetime]:
    """Return how a run was read; of a run from before that was kept, what is known of it."""
    if record.read_as is not None:
        return kept.from_json(record.read_as, record.engine_id)
    stated = record.started_at if record.start_basis == "stated" else None
    instructions = Instructions(record.engine_id, started=stated, zone=zone(book.settings.timezone))
    return instructions, record.started_at
