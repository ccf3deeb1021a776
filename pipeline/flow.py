"""The main job: a log goes in; its run, exposure and events come to lie in the logbook.

This is the edge: stages compute, the logbook and the register keep, and this module hands values
from one to the other.
"""

from __future__ import annotations

import hashlib
import mmap
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from pipeline.catalogue import WATCHED
from pipeline.detect.judge import DETECTOR_VERSION, detect
from pipeline.detect.pressure import (
    PressureSummary,
    PressureSurface,
    learn_surface,
    steady_pressure,
)
from pipeline.detect.watch import watched
from pipeline.errors import BabbittError, LogRefusedError
from pipeline.exposure import Exposure
from pipeline.ingest.read import Instructions, ReadSource, read_log
from pipeline.logbook import Logbook, saying_what_failed, whole_file, write_original, write_run
from pipeline.register import Session, builds, corrections, engines, events, runs
from pipeline.register.values import Build, RunRecord, SurfaceRecord
from pipeline.run import Run
from pipeline.spec import EngineSpec
from pipeline.totals.exposure import expose

Overlap = Literal["refuse", "replace", "keep-both"]
Track = Callable[[Iterable[RunRecord], int], Iterable[RunRecord]]

LEARNING_RUNS = 40
"""Expected oil pressure is learned from the first of these many runs of a build that suffice."""

_JUDGED_CHANNELS = (*WATCHED, "throttle")


@dataclass(frozen=True)
class Intake:
    """What became of one log.

    Attributes:
        file: as the user named it.
        status: ingested, duplicate (the same bytes are a run already) or refused.
        run_id: of the run, None where refused.
        rows: samples on the run's time base.
        duration_s: of the run.
        channels: those of the run, in the order of the log.
        warnings: what a reader of the run should know, a sentence each.
        error: why it was refused, one sentence.
        option: the command-line option that would settle a refusal, where there is one.
    """

    file: str
    status: Literal["ingested", "duplicate", "refused"]
    run_id: str | None = None
    rows: int | None = None
    duration_s: float | None = None
    channels: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    error: str | None = None
    option: str | None = None


@dataclass(frozen=True)
class Judged:
    """What judging an engine's runs changed.

    Attributes:
        judged: ids of the runs searched anew.
        failures: runs that could not be searched, a sentence each.
    """

    judged: tuple[str, ...]
    failures: tuple[str, ...]


def ingest_log(
    book: Logbook, path: Path, instructions: Instructions, *, overlap: Overlap = "refuse"
) -> Intake:
    """Take one log into the logbook; a refusal is an answer, not an exception.

    Args:
        book: the logbook.
        path: the log.
        instructions: how to read it, and for which engine.
        overlap: what to do when it overlaps another run of the engine in time: refuse it, let it
            replace the other, or keep both.
    """
    try:
        with saying_what_failed(f"cannot take in {path}"), open_log(path) as data:
            return _take_in(book, path, data, instructions, overlap)
    except LogRefusedError as error:
        return Intake(str(path), "refused", error=str(error), option=error.option)
    except BabbittError as error:
        return Intake(str(path), "refused", error=str(error))


def judge_engine(
    book: Logbook,
    engine_id: str,
    *,
    in_hand: Run | None = None,
    track: Track = lambda items, _: items,
) -> Judged:
    """Search every run of an engine that was not judged by today's limits and expectations.

    Repeating it changes nothing. Each run is judged in a transaction of its own, so that what is
    cut off goes on where it stopped.

    Args:
        book: the logbook.
        engine_id: the engine.
        in_hand: a run of its that need not be read again.
        track: passes the runs to search through, and is told their number; for a progress bar.

    Raises:
        RegisterError: no such engine.
    """
    known = {in_hand.info.run_id: in_hand} if in_hand else {}
    with book.register.reading() as session:
        spec = engines.spec_of(session, engine_id)
        spans = builds.builds_of(session, engine_id)
    judged: list[str] = []
    failures: list[str] = []
    for build in spans:
        surface = _expected_pressure(book, build, spec, known, failures)
        key = f"{_summarised_by(spec)}/{surface.key if surface else 'floor'}"
        with book.register.reading() as session:
            waiting = runs.list_runs(
                session,
                engine_id=engine_id,
                since=build.since,
                until=build.until,
                not_judged_by=key,
            )
        for record in track(waiting, len(waiting)):
            try:
                _judge(book, record, spec, surface, key, known)
                judged.append(record.run_id)
            except BabbittError as error:
                failures.append(str(error))
    return Judged(tuple(judged), tuple(dict.fromkeys(failures)))


@contextmanager
def open_log(path: Path) -> Iterator[memoryview]:
    """Yield the bytes of a log, mapped rather than read.

    Raises:
        LogRefusedError: there is no such file, it is a folder, empty, or may not be read.
    """
    if path.is_dir():
        raise LogRefusedError(f"{path} is a folder: name the logs in it, like {path}/*.csv.")
    try:
        with path.open("rb") as file:
            if path.stat().st_size == 0:
                raise LogRefusedError(f"{path} is empty: copy it from the logger again.")
            mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        try:
            yield memoryview(mapped)
        finally:
            # Where a traceback still holds a slice, the map is closed with the last of them.
            with suppress(BufferError):
                mapped.close()
    except FileNotFoundError as error:
        raise LogRefusedError(f"There is no file {path}: check its name.") from error


def _take_in(
    book: Logbook, path: Path, data: memoryview, instructions: Instructions, overlap: Overlap
) -> Intake:
    sha256 = hashlib.sha256(data).hexdigest()
    with book.register.reading() as session:
        spec = engines.spec_of(session, instructions.engine_id)
        known = runs.run_by_sha256(session, sha256)
    if known is not None and known.removed_at is None:
        judge_engine(book, known.engine_id)  # completes what a cut-off command left
        return _duplicate(path, known, instructions.engine_id)

    modified_at = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    with ExitStack() as files, ThreadPoolExecutor(max_workers=1) as aside:
        original_path = book.original_path(sha256)
        keeping = aside.submit(write_original, data, files.enter_context(whole_file(original_path)))
        run = read_log(ReadSource(path.name, data, sha256, modified_at), instructions)
        run_path = book.run_path(instructions.engine_id, run.info.run_id)
        write_run(run, files.enter_context(whole_file(run_path)))
        exposure, steady = _summarise(run, spec)
        keeping.result()
        placed: list[Path] = []
        try:
            with book.register.writing() as session:
                known = runs.run_by_sha256(session, sha256)
                if known is not None and known.removed_at is None:
                    return _duplicate(path, known, instructions.engine_id)
                _make_room(session, run, overlap)
                runs.record_run(session, run, exposure)
                builds.save_steady_pressure(session, run.info.run_id, steady)
                placed += [name for name in (original_path, run_path) if not name.exists()]
                files.close()
        except BaseException:
            for name in placed:
                name.unlink(missing_ok=True)
            raise
    judged = judge_engine(book, instructions.engine_id, in_hand=run)
    return Intake(
        str(path),
        "ingested",
        run_id=run.info.run_id,
        rows=len(run.time_s),
        duration_s=run.duration_s,
        channels=tuple(run.signals),
        warnings=(*run.info.warnings, *judged.failures),
    )


def _duplicate(path: Path, known: RunRecord, engine_id: str) -> Intake:
    other = (
        f"The same log is a run of engine {known.engine_id}; if {engine_id} made it: "
        f"`babbitt run assign {known.run_id} --engine {engine_id}`."
    )
    return Intake(
        str(path),
        "duplicate",
        run_id=known.run_id,
        rows=known.samples,
        duration_s=known.duration_s,
        channels=tuple(channel.name for channel in known.channels),
        warnings=() if known.engine_id == engine_id else (other,),
    )


def _make_room(session: Session, run: Run, overlap: Overlap) -> None:
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


def _expected_pressure(
    book: Logbook, build: Build, spec: EngineSpec, known: dict[str, Run], failures: list[str]
) -> PressureSurface | None:
    """Learn the surface of a build from its first runs, and keep it where it is new."""
    by = _summarised_by(spec)
    with book.register.reading() as session:
        kept = builds.steady_pressures(session, build, limit=LEARNING_RUNS)
        before = builds.surface_of(session, build)
    summaries: list[PressureSummary] = []
    for run_id, text in kept:
        made_by, _, summary = text.partition("\n")
        if made_by != by:
            try:
                run = known.get(run_id) or _read_judged(book, build.engine_id, run_id)
            except BabbittError as error:
                failures.append(str(error))
                continue
            _, _, summary = _keep_summary(book, run, spec).partition("\n")
        summaries.append(PressureSummary.from_json(summary))
    surface = learn_surface(summaries, spec)
    if surface is not None and (before is None or before.key != surface.key):
        with book.register.writing() as session:
            builds.save_surface(session, build, SurfaceRecord(surface.to_json(), surface.key))
    return surface


def _judge(
    book: Logbook,
    record: RunRecord,
    spec: EngineSpec,
    surface: PressureSurface | None,
    key: str,
    known: dict[str, Run],
) -> None:
    run = known.get(record.run_id) or _read_judged(book, record.engine_id, record.run_id)
    with book.register.reading() as session:
        text = builds.steady_pressure_of(session, record.run_id)
    if text is None or text.partition("\n")[0] != _summarised_by(spec):
        _keep_summary(book, run, spec)
    found = detect(run, spec, surface)
    with book.register.writing() as session:
        events.replace_events(session, record.run_id, found, judged_by=key)


def _read_judged(book: Logbook, engine_id: str, run_id: str) -> Run:
    return book.read_run(engine_id, run_id, _JUDGED_CHANNELS)


def _keep_summary(book: Logbook, run: Run, spec: EngineSpec) -> str:
    exposure, text = _summarise(run, spec)
    with book.register.writing() as session:
        runs.save_exposure(session, run.info.run_id, exposure)
        builds.save_steady_pressure(session, run.info.run_id, text)
    return text


def _summarise(run: Run, spec: EngineSpec) -> tuple[Exposure, str]:
    """Return what depends on a run and its limits alone: its exposure and steady oil pressures.

    The pressures are kept under the key of what made them, in a line before them.
    """
    text = f"{_summarised_by(spec)}\n{steady_pressure(run, spec).to_json()}"
    return expose(run, spec, watched(run, spec)), text


def _summarised_by(spec: EngineSpec) -> str:
    return f"{DETECTOR_VERSION}/{spec.version()}"
