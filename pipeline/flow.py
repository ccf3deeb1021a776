"""The main job: a log goes in; its run, exposure and events come to lie in the logbook.

This is the edge: stages compute, the logbook and the register keep, and this module hands values
from one to the other.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event
from typing import Literal

from pipeline.errors import BabbittError, LogbookError, LogRefusedError
from pipeline.ingest.source import Instructions, ReadSource
from pipeline.judging import judge_engine
from pipeline.log_bytes import LogBytes, open_log
from pipeline.logbook import (
    INCOMING,
    Logbook,
    place_file,
    saying_what_failed,
    sync,
    write_original,
)
from pipeline.reading import Reading, read_into
from pipeline.register import Session, builds, corrections, engines, runs, sensors
from pipeline.register.values import RunRecord
from pipeline.run import RunOutline

Overlap = Literal["refuse", "replace", "keep-both"]
Told = Callable[[float], None]
"""Is told the share of a job that is done, from 0 to 1, again and again."""

_HASHED, _PARSED = 0.1, 0.65
"""Share of taking in a log that is done once it is hashed, and once it is parsed."""


@dataclass(frozen=True)
class Intake:
    """What became of one log.

    Attributes:
        file: as the user named it.
        status: ingested, duplicate (the same bytes are a run already) or refused.
        engine_id: whose run it is, None where refused.
        run_id: of the run, None where refused.
        rows: samples on the run's time base.
        duration_s: of the run.
        channels: those of the run, in the order of the log.
        warnings: what a reader of the run should know, a sentence each.
        error: why it was refused, one sentence.
        option: the command-line option that would settle a refusal, where there is one.
        profile: name of the logger profile it was read by, None where there is none.
        later: nothing is wrong with the log itself: it may be taken in when tried again.
    """

    file: str
    status: Literal["ingested", "duplicate", "refused"]
    engine_id: str | None = None
    run_id: str | None = None
    rows: int | None = None
    duration_s: float | None = None
    channels: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    error: str | None = None
    option: str | None = None
    profile: str | None = None
    later: bool = False


@dataclass(frozen=True)
class Incoming:
    """A log that was read and is not recorded yet.

    Attributes:
        file: as the user named it.
        reading: what reading it made.
        original_path: where its bytes lie, compressed.
        run_path: where it lies, normalised.
    """

    file: str
    reading: Reading
    original_path: Path
    run_path: Path


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
        intake = half if isinstance(half, Intake) else record(book, half, overlap=overlap)
    if intake.engine_id is None:
        return intake
    judged = judge_engine(book, intake.engine_id)  # completes what a cut-off command left, too
    (intake,) = after_judging(book, [intake])
    return replace(intake, warnings=(*intake.warnings, *judged.failures))


def after_judging(book: Logbook, intakes: Iterable[Intake]) -> list[Intake]:
    """Return what became of logs with what judging their engines then made of their sensors."""
    with book.register.reading() as session:
        return [
            replace(intake, warnings=runs.find_run(session, intake.run_id).warnings)
            if intake.status == "ingested" and intake.run_id is not None
            else intake
            for intake in intakes
        ]


@contextmanager
def incoming_folder(book: Logbook) -> Iterator[Path]:
    """Yield a folder for what is not recorded yet; it vanishes with whatever is left in it.

    Raises:
        LogbookError: the logbook cannot be written.
    """
    with saying_what_failed(f"cannot write in {book.root}"):
        made = TemporaryDirectory(dir=book.root, prefix=INCOMING, ignore_cleanup_errors=True)
    with made as name:
        yield Path(name)


def read_in(
    book: Logbook,
    path: Path,
    instructions: Instructions,
    folder: Path,
    *,
    told: Told = lambda _: None,
    name: str | None = None,
) -> Incoming | Intake:
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
            return _read_in(book, log, instructions, folder, told, name or path.name)
    except BabbittError as error:
        return _refused(path, error)


def record(book: Logbook, incoming: Incoming, *, overlap: Overlap = "refuse") -> Intake:
    """Record a log that was read, and give its files their names; its engine is not judged.

    Args:
        book: the logbook.
        incoming: what `read_in` made of it; its files are gone from there afterwards.
        overlap: what to do when it overlaps another run of the engine in time.
    """
    try:
        with saying_what_failed(f"cannot take in {incoming.file}"):
            return _record(book, incoming, overlap)
    except BabbittError as error:
        return _refused(Path(incoming.file), error)


def _read_in(
    book: Logbook, log: LogBytes, instructions: Instructions, folder: Path, told: Told, name: str
) -> Incoming | Intake:
    def read(from_share: float, to_share: float, so_far: int) -> None:
        told(from_share + (to_share - from_share) * so_far / log.size)

    sha256 = _sha256(log, partial(read, 0.0, _HASHED))
    with book.register.reading() as session:
        spec = engines.spec_of(session, instructions.engine_id)
        known = runs.run_by_sha256(session, sha256)
    if known is not None and known.removed_at is None:
        return _duplicate(log.path, known, instructions.engine_id)
    modified_at = datetime.fromtimestamp(log.modified_ns / 1e9, UTC)
    bytes_of = partial(log.open, partial(read, _HASHED, _PARSED))
    source = ReadSource(name, bytes_of, sha256, modified_at)
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
        failed.pop_all()
    return Incoming(str(log.path), reading, original_path, run_path)


def _sha256(log: LogBytes, told: Callable[[int], None]) -> str:
    digest = hashlib.sha256()
    for block in log.blocks(told):
        digest.update(block)
    return digest.hexdigest()


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
    places = {
        incoming.original_path: book.original_path(info.source_sha256),
        incoming.run_path: book.run_path(info.engine_id, info.run_id),
    }
    placed: list[Path] = []
    try:
        with book.register.writing() as session:
            known = runs.run_by_sha256(session, info.source_sha256)
            if known is not None and known.removed_at is None:
                return _duplicate(Path(incoming.file), known, info.engine_id)
            _make_room(session, reading.run, overlap)
            runs.record_run(session, reading.run, reading.exposure)
            builds.save_steady_pressure(session, info.run_id, reading.steady)
            sensors.save_reading(session, info.run_id, reading.read_as, reading.sensors)
            placed += [name for name in places.values() if not name.exists()]
            for written, name in places.items():
                place_file(written, name)
    except BaseException:
        # Ctrl-C may come when the record is there already: it must not lose its files.
        if placed and not _is_recorded(book, info.source_sha256):
            for name in placed:
                name.unlink(missing_ok=True)
        raise
    finally:
        for written in places:
            written.unlink(missing_ok=True)
    return Intake(
        incoming.file,
        "ingested",
        engine_id=info.engine_id,
        run_id=info.run_id,
        rows=reading.run.samples,
        duration_s=reading.run.duration_s,
        channels=tuple(reading.run.signals),
        warnings=info.warnings,
        profile=reading.profile,
    )


def _is_recorded(book: Logbook, sha256: str) -> bool:
    with book.register.reading() as session:
        known = runs.run_by_sha256(session, sha256)
    return known is not None and known.removed_at is None


def _refused(path: Path, error: BabbittError) -> Intake:
    option = error.option if isinstance(error, LogRefusedError) else None
    later = isinstance(error, LogbookError) or (isinstance(error, LogRefusedError) and error.later)
    return Intake(str(path), "refused", error=str(error), option=option, later=later)


def _duplicate(path: Path, known: RunRecord, engine_id: str) -> Intake:
    other = (
        f"The same log is a run of engine {known.engine_id}; if {engine_id} made it: "
        f"`babbitt run assign {known.run_id} --engine {engine_id}`."
    )
    return Intake(
        str(path),
        "duplicate",
        engine_id=known.engine_id,
        run_id=known.run_id,
        rows=known.samples,
        duration_s=known.duration_s,
        channels=tuple(channel.name for channel in known.channels),
        warnings=() if known.engine_id == engine_id else (other,),
    )


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
            "it is held back: say which is right with --overlap replace (this one) or keep-both, "
            "or state its start with --started.",
            option="--overlap replace",
        )
    for other in others:
        corrections.remove_run(session, other.run_id, f"replaced by {info.source_name}")
