"""Judging: the runs of an engine are searched by today's limits and its build's expectations."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeVar

from pipeline.catalogue import WATCHED
from pipeline.detect.judge import DETECTOR_VERSION
from pipeline.detect.parts import detect_parts
from pipeline.detect.pressure import (
    PressureSummary,
    PressureSurface,
    SteadySum,
    learn_surface,
)
from pipeline.detect.watch import watched_in
from pipeline.errors import BabbittError
from pipeline.exposure import Exposure
from pipeline.logbook import Logbook
from pipeline.register import builds, engines, events, runs
from pipeline.register.values import Build, RunRecord, SurfaceRecord
from pipeline.run import Run
from pipeline.sensor_check import compare_sensors
from pipeline.sensors.doubts import with_doubts
from pipeline.spec import KINDS, EngineSpec
from pipeline.totals.exposure import ExposureSum
from pipeline.window import windows

Track = Callable[[Iterable[RunRecord], int], Iterable[RunRecord]]

T = TypeVar("T")
R = TypeVar("R")


class Apply(Protocol):
    """Anything that does what `map` does, the answers in the order of the items."""

    def __call__(self, function: Callable[[T], R], items: Iterable[T], /) -> Iterator[R]:
        """Yield the function's answer to each item."""


LEARNING_RUNS = 40
"""Expected oil pressure is learned from the first of these many runs of a build that suffice."""

_JUDGED_CHANNELS = (*WATCHED, "throttle")


@dataclass(frozen=True)
class Judged:
    """What judging an engine's runs changed.

    Attributes:
        judged: ids of the runs searched anew.
        failures: runs that could not be searched, a sentence each.
    """

    judged: tuple[str, ...]
    failures: tuple[str, ...]


def judge_engine(
    book: Logbook,
    engine_id: str,
    *,
    track: Track = lambda items, _: items,
    apply: Apply = map,
) -> Judged:
    """Search every run of an engine that was not judged by today's limits and expectations.

    Repeating it changes nothing. Each run is judged in a transaction of its own, so that what is
    cut off goes on where it stopped.

    Args:
        book: the logbook.
        engine_id: the engine.
        track: passes the runs to search through, and is told their number; for a progress bar.
        apply: has the runs searched, by other processes perhaps.

    Raises:
        RegisterError: no such engine.
    """
    with book.register.reading() as session:
        spec = engines.spec_of(session, engine_id)
        spans = builds.builds_of(session, engine_id)
    compare_sensors(book, engine_id, spec)
    judged: list[str] = []
    failures: list[str] = []
    for build in spans:
        surface = _expected_pressure(book, build, spec, failures)
        key = f"{_summarised_by(spec)}/{surface.key if surface else 'floor'}"
        with book.register.reading() as session:
            waiting = runs.list_runs(
                session,
                engine_id=engine_id,
                since=build.since,
                until=build.until,
                not_judged_by=key,
            )
        failed = apply(partial(_judge, book, spec, surface, key), waiting)
        for each, failure in zip(track(waiting, len(waiting)), failed, strict=True):
            if failure is None:
                judged.append(each.run_id)
            else:
                failures.append(failure)
    return Judged(tuple(judged), tuple(dict.fromkeys(failures)))


def summarise(parts: Iterable[Run], run_id: str, spec: EngineSpec) -> tuple[Exposure, str]:
    """Return what depends on a run and its limits alone: its exposure and steady oil pressures.

    The pressures are kept under the key of what made them, in a line before them.

    Args:
        parts: of the run, in order.
        run_id: of the run.
        spec: of its engine.
    """
    total = ExposureSum(spec)
    watched_s = dict.fromkeys(KINDS, 0.0)
    steady = SteadySum(spec)
    for window in windows(parts):
        total.add(window)
        steady.add(window)
        for kind, seconds in watched_in(window, spec).items():
            watched_s[kind] += seconds
    text = f"{_summarised_by(spec)}\n{steady.summary(run_id).to_json()}"
    return total.exposure(watched_s), text


def _expected_pressure(
    book: Logbook, build: Build, spec: EngineSpec, failures: list[str]
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
                text = _keep_summary(book, build.engine_id, run_id, spec)
            except BabbittError as error:
                failures.append(str(error))
                continue
            _, _, summary = text.partition("\n")
        summaries.append(PressureSummary.from_json(summary))
    surface = learn_surface(summaries, spec)
    if surface is not None and (before is None or before.key != surface.key):
        with book.register.writing() as session:
            builds.save_surface(session, build, SurfaceRecord(surface.to_json(), surface.key))
    return surface


def _judge(
    book: Logbook,
    spec: EngineSpec,
    surface: PressureSurface | None,
    key: str,
    record: RunRecord,
) -> str | None:
    """Search a run, and keep what is found; return why that could not be done, where it could not.

    Where it is done by several processes, the register lets one write after the other.
    """
    try:
        _search(book, spec, surface, key, record)
    except BabbittError as error:
        return str(error)
    return None


def _search(
    book: Logbook,
    spec: EngineSpec,
    surface: PressureSurface | None,
    key: str,
    record: RunRecord,
) -> None:
    with book.register.reading() as session:
        text = builds.steady_pressure_of(session, record.run_id)
    if text is None or text.partition("\n")[0] != _summarised_by(spec):
        _keep_summary(book, record.engine_id, record.run_id, spec)
    parts = _parts(book, record.engine_id, record.run_id)
    found = with_doubts(detect_parts(parts, spec, surface), record.doubts)
    with book.register.writing() as session:
        events.replace_events(session, record.run_id, found, judged_by=key + record.doubts_key)


def _parts(book: Logbook, engine_id: str, run_id: str) -> Iterator[Run]:
    return book.run_parts(engine_id, run_id, _JUDGED_CHANNELS)


def _keep_summary(book: Logbook, engine_id: str, run_id: str, spec: EngineSpec) -> str:
    exposure, text = summarise(_parts(book, engine_id, run_id), run_id, spec)
    with book.register.writing() as session:
        runs.save_exposure(session, run_id, exposure)
        builds.save_steady_pressure(session, run_id, text)
    return text


def _summarised_by(spec: EngineSpec) -> str:
    return f"{DETECTOR_VERSION}/{spec.version()}"
