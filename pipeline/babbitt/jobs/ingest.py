"""The main job: a log goes in; its run, exposure and events come to lie in the logbook.

This is the edge: stages compute, the logbook and the register keep, and this module hands values
from one to the other.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event
from typing import Literal

from babbitt.errors import BabbittError, LogbookError, LogRefusedError, Remedy
from babbitt.ingest.log_bytes import LogBytes, open_log
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest_result import Intake, Refused, duplicate, held_back, refused
from babbitt.jobs.read_log import Reading, read_into
from babbitt.logbook.file_store import FileStore
from babbitt.logbook.folder import INCOMING, Logbook, saying_what_failed, write_original
from babbitt.logbook.safe_files import sync
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.plain_text import visible
from babbitt.model.records import RunRecord
from babbitt.model.run import RunOutline
from babbitt.register import Session
from babbitt.register.records import builds, corrections, engines, refusals, runs, sensors

Overlap = Literal["refuse", "replace", "keep-both"]
Told = Callable[[float], None]
"""Is told the share of a job that is done, from 0 to 1, again and again."""

_HASHED, _PARSED = 0.1, 0.65
"""Share of taking in a log that is done once it is hashed, and once it is parsed."""


@dataclass(frozen=True)
class Incoming:
    """A log that was read and is not recorded yet.

    Attributes:
        file: as the user named it.
        reading: what reading it made.
        original: staged name of its bytes, compressed (`FileStore.stage`).
        run: staged name of the run, normalised.
    """

    file: str
    reading: Reading
    original: str
    run: str


Half = Incoming | Refused | Intake
"""What reading a log led to, without a word of it in the register."""


def ingest_log(
    book: Logbook,
    path: Path,
    instructions: Instructions,
    *,
    overlap: Overlap = "refuse",
    name: str | None = None,
) -> Intake:
    """Take one log into the logbook, and judge its engine; a refusal is an answer, no exception.

    Args:
        book: the logbook.
        path: the log.
        instructions: how to read it, and for which engine.
        overlap: what to do when it overlaps another run of the engine in time: refuse it, let it
            replace the other, or keep both.
        name: file name of the log, where it does not lie under that.

    Raises:
        LogbookError: the logbook cannot be written.
    """
    with incoming_folder(book) as folder:
        half = read_in(book, path, instructions, folder, name=name)
        intake = record(book, half, overlap=overlap)
    if intake.engine_id is None:
        return intake
    judged = judge_engine(book, intake.engine_id)  # completes what a cut-off command left, too
    (intake,) = after_judging(book, [intake])
    return replace(intake, warnings=(*intake.warnings, *judged.failures))


def after_judging(book: Logbook, intakes: Iterable[Intake]) -> list[Intake]:
    """Return what became of logs with what judging their engines then made of their sensors."""
    with book.register.reading() as session:
        return [
            _with_said(intake, runs.find_run(session, intake.run_id))
            if intake.status == "ingested" and intake.run_id is not None
            else intake
            for intake in intakes
        ]


def _with_said(intake: Intake, record: RunRecord) -> Intake:
    """Add to what was said of a log as it was taken in what is said of its run since."""
    warnings = tuple(dict.fromkeys((*intake.warnings, *record.warnings)))
    return replace(intake, warnings=warnings, doubts=record.doubts)


@contextmanager
def incoming_folder(book: Logbook) -> Iterator[Path]:
    """Yield a folder for what is not recorded yet; it vanishes with whatever is left in it.

    Raises:
        LogbookError: the logbook cannot be written.
    """
    with saying_what_failed(f"cannot write in {book.root}"):
        made = TemporaryDirectory(dir=book.root, prefix=INCOMING, ignore_cleanup_errors=True)
    with made as name:
        try:
            yield Path(name)
        finally:
            with suppress(OSError):  # a store that was lost; `check` names what is left there
                book.files.unstage(Path(name))


def read_in(
    book: Logbook,
    path: Path,
    instructions: Instructions,
    folder: Path,
    *,
    told: Told = lambda _: None,
    name: str | None = None,
) -> Half:
    """Read one log, and write what it holds as files in `folder`; nothing is recorded.

    Workers may do this for several logs at once. A refusal and a duplicate are told as what became
    of the log.

    Args:
        book: the logbook.
        path: the log.
        instructions: how to read it, and for which engine.
        folder: on the logbook's disk.
        told: is told the share of the log that was read, from 0 to 1, again and again.
        name: file name of the log, where it does not lie under that.
    """
    try:
        with saying_what_failed(f"cannot take in {path}"), open_log(path) as log:
            return _read_in(book, log, instructions, folder, told, visible(name or path.name))
    except BabbittError as error:
        return refused(path, error)


def record(book: Logbook, half: Half, *, overlap: Overlap = "refuse") -> Intake:
    """Record a log that was read, and give its files their names; its engine is not judged.

    Args:
        book: the logbook.
        half: what `read_in` made of it; its files are gone from there afterwards.
        overlap: what to do when it overlaps another run of the engine in time.
    """
    if isinstance(half, Incoming):
        half = _recorded(book, half, overlap)
    return _noted(book, half) if isinstance(half, Refused) else half


def _recorded(book: Logbook, incoming: Incoming, overlap: Overlap) -> Refused | Intake:
    info = incoming.reading.run.info
    try:
        with saying_what_failed(f"cannot take in {incoming.file}"):
            return _record(book, incoming, overlap)
    except BabbittError as error:
        known = (info.source_sha256, info.source_name, info.engine_id)
        return held_back(Path(incoming.file), error, *known)


def _noted(book: Logbook, half: Refused) -> Intake:
    """Write a refusal down; where that fails the log is refused all the same."""
    try:
        with book.register.writing() as session:
            refusals.note_refusal(session, half.refusal)
    except LogbookError as error:
        return replace(half.intake, warnings=(str(error),), sha256=None)
    return half.intake


def _read_in(
    book: Logbook, log: LogBytes, instructions: Instructions, folder: Path, told: Told, name: str
) -> Half:
    def read(from_share: float, to_share: float, so_far: int) -> None:
        told(from_share + (to_share - from_share) * so_far / log.size)

    sha256 = log.sha256(partial(read, 0.0, _HASHED))
    with book.register.reading() as session:
        spec = engines.spec_of(session, instructions.engine_id)
        known = runs.run_by_sha256(session, sha256)
    if known is not None and known.removed_at is None:
        return duplicate(log.path, known, instructions.engine_id, instructions.circuit)
    bytes_of = partial(log.open, partial(read, _HASHED, _PARSED))
    modified_at = datetime.fromtimestamp(log.modified_ns / 1e9, UTC)
    source = ReadSource(name, bytes_of, sha256, modified_at)
    try:
        return _read_new(book.files, log, source, instructions, spec, folder, told)
    except BabbittError as error:
        return held_back(log.path, error, sha256, name, instructions.engine_id)


def _read_new(
    files: FileStore,
    log: LogBytes,
    source: ReadSource,
    instructions: Instructions,
    spec: EngineSpec,
    folder: Path,
    told: Told,
) -> Incoming:
    with ExitStack() as failed, _keeping(log, folder, failed) as original:
        run_path = _new_file(folder, failed)
        reading = read_into(
            run_path,
            source,
            instructions,
            spec,
            folder=folder,
            told=lambda share: told(_PARSED + (1.0 - _PARSED) * share),
        )
        original_path = original()
        log.refuse_if_changed()
        sync(original_path)
        staged = files.stage(original_path, folder), files.stage(run_path, folder)
        failed.pop_all()
    return Incoming(str(log.path), reading, *staged)


@contextmanager
def _keeping(log: LogBytes, folder: Path, failed: ExitStack) -> Iterator[Callable[[], Path]]:
    """Keep a log's bytes aside while it is read; yield what waits for that and tells the file."""
    path = _new_file(folder, failed)
    stop = Event()

    def blocks() -> Iterator[bytes]:
        for block in log.blocks():
            if stop.is_set():
                return
            yield block

    with ThreadPoolExecutor(max_workers=1) as aside:
        kept = aside.submit(write_original, blocks(), path)

        def wait() -> Path:
            kept.result()
            return path

        try:
            yield wait
        except BaseException:
            stop.set()
            raise


def _new_file(folder: Path, failed: ExitStack) -> Path:
    handle, name = tempfile.mkstemp(dir=folder)
    os.close(handle)
    failed.callback(Path(name).unlink, missing_ok=True)
    return Path(name)


def _record(book: Logbook, incoming: Incoming, overlap: Overlap) -> Intake:
    reading = incoming.reading
    info = reading.run.info
    files = book.files
    places = {
        incoming.original: book.original_name(info.source_sha256),
        incoming.run: book.run_name(info.engine_id, info.run_id),
    }
    placed: list[str] = []
    try:
        with book.register.writing() as session:
            known = runs.run_by_sha256(session, info.source_sha256)
            if known is not None and known.removed_at is None:
                return duplicate(Path(incoming.file), known, info.engine_id)
            _make_room(session, reading.run, overlap)
            runs.record_run(session, reading.run, reading.exposure, circuit=reading.circuit)
            refusals.forget_refusal(session, info.source_sha256)
            builds.save_steady_pressure(session, info.run_id, reading.steady)
            sensors.save_reading(session, info.run_id, reading.read_as, reading.sensors)
            placed += [name for name in places.values() if not files.exists(name)]
            for staged, name in places.items():
                files.move(staged, name)
    except BaseException:
        # Ctrl-C may come when the record is there already: it must not lose its files.
        if placed and not _is_recorded(book, info.source_sha256):
            for name in placed:
                files.delete(name)
        raise
    finally:
        for staged in places:
            files.delete(staged)
    return Intake(
        incoming.file,
        "ingested",
        engine_id=info.engine_id,
        run_id=info.run_id,
        rows=reading.run.samples,
        duration_s=reading.run.duration_s,
        channels=tuple(reading.run.signals),
        warnings=(*info.warnings, *reading.remarks),
        profile=reading.profile,
        sha256=info.source_sha256,
    )


def _is_recorded(book: Logbook, sha256: str) -> bool:
    with book.register.reading() as session:
        known = runs.run_by_sha256(session, sha256)
    return known is not None and known.removed_at is None


def _make_room(session: Session, run: RunOutline, overlap: Overlap) -> None:
    """See to the runs of the engine that share time with a new one.

    Raises:
        LogRefusedError: there are some, and nobody said which is right.
    """
    info = run.info
    if overlap == "keep-both" or info.start_basis == "file":
        return
    others = runs.overlapping_runs(session, info.engine_id, info.started_at, run.duration_s)
    if others and overlap == "refuse":
        names = ", ".join(f"{other.run_id} ({other.source_name})" for other in others)
        raise LogRefusedError(
            f"{info.source_name} overlaps the run {names} of engine {info.engine_id} in time, so "
            "it is held back: say whether it replaces that one or both are right, or state its "
            "start.",
            Remedy("overlap", value="replace"),
            Remedy("overlap", value="keep-both"),
        )
    for other in others:
        corrections.remove_run(session, other.run_id, f"replaced by {info.source_name}")
