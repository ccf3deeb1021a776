"""Judging: the runs of an engine are searched by today's limits and its build's expectations."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeVar

from babbitt.detect.governed import channels_of, judged_key, stale_kinds, summary_key
from babbitt.detect.parts import detect_parts
from babbitt.detect.pressure import (
    PressureSummary,
    PressureSurface,
    SteadySum,
    learn_surface,
    straight_share,
)
from babbitt.detect.watch import watched_in
from babbitt.errors import RunFileError, SettingsError
from babbitt.jobs.check_sensors import compare_sensors
from babbitt.jobs.laps import find_laps, placed
from babbitt.logbook.folder import Logbook
from babbitt.model.channels import WATCHED
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.exposure import Exposure
from babbitt.model.kinds import KINDS
from babbitt.model.records import Build, RunRecord, SurfaceRecord
from babbitt.model.run import Run
from babbitt.model.run_windows import windows
from babbitt.register.records import builds, engines, events, exposures, runs
from babbitt.register.records.layouts import layout_of
from babbitt.sensors.doubts import with_doubts
from babbitt.totals.exposure import ExposureSum

Track = Callable[[Iterable[RunRecord], int], Iterable[RunRecord]]

T = TypeVar("T")
R = TypeVar("R")


class Apply(Protocol):
    """Anything that does what `map` does, the answers in the order of the items."""

    def __call__(self, function: Callable[[T], R], items: Iterable[T], /) -> Iterator[R]:
        """Yield the function's answer to each item."""


LEARNING_RUNS = 40
"""Expected oil pressure is learned from the first of these many runs of a build that suffice."""


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

    It is searched only for the kinds whose own limits or expectations have changed. Repeating it
    changes nothing. Each run is judged in a transaction of its own, so that what is cut off goes on
    where it stopped.

    Args:
        book: the logbook.
        engine_id: the engine.
        track: passes the runs to search through, and is told their number; for a progress bar.
        apply: has the runs searched, by other processes perhaps.

    Raises:
        RegisterError: no such engine.
        LogbookError: the register cannot be written, or a process that searched died.
    """
    try:
        with book.register.reading() as session:
            spec = engines.spec_of(session, engine_id)
            spans = builds.builds_of(session, engine_id)
    except SettingsError as error:
        return Judged((), (str(error),))
    compare_sensors(book, engine_id, spec)
    judged: list[str] = []
    failures = list(find_laps(book, engine_id, apply))
    for build in spans:
        surface = _expected_pressure(book, build, spec, failures, apply)
        key = judged_key(spec, surface)
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
    text = f"{summary_key(spec)}\n{steady.summary(run_id).to_json()}"
    return total.exposure(watched_s), text


def _expected_pressure(
    book: Logbook, build: Build, spec: EngineSpec, failures: list[str], apply: Apply
) -> PressureSurface | None:
    """Learn the surface of a build from its first runs, and keep it where it is new."""
    by = summary_key(spec)
    with book.register.reading() as session:
        kept = dict(builds.steady_pressures(session, build, limit=LEARNING_RUNS))
        before = builds.surface_of(session, build)
    stale = [run_id for run_id, text in kept.items() if text.partition("\n")[0] != by]
    made = apply(partial(_summary_or_why_not, book, build.engine_id, spec), stale)
    for run_id, text_or_failure in zip(stale, made, strict=True):
        if isinstance(text_or_failure, RunFileError):
            failures.append(str(text_or_failure))
            del kept[run_id]
        else:
            kept[run_id] = text_or_failure
    summaries = [PressureSummary.from_json(text.partition("\n")[2]) for text in kept.values()]
    known = None if before is None else PressureSurface.from_json(before.text)
    surface = learn_surface(summaries, spec, known)
    if surface is None:
        return None
    learned = SurfaceRecord(surface.to_json(), surface.key)
    if learned != before:
        with book.register.writing() as session:
            builds.save_surface(session, build, learned)
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
    except RunFileError as error:
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
    if text is None or text.partition("\n")[0] != summary_key(spec):
        _keep_summary(book, record.engine_id, record.run_id, spec)
    while not _replaced(book, spec, surface, key + record.doubts_key, record):
        with book.register.reading() as session:
            record = runs.find_run(session, record.run_id)


def _replaced(
    book: Logbook,
    spec: EngineSpec,
    surface: PressureSurface | None,
    key: str,
    record: RunRecord,
) -> bool:
    """Search a run for the kinds that are not of today; False where another did so meanwhile.

    What it found for some kinds would not go with what is found here for others.
    """
    kinds = stale_kinds(record.judged_by, key)
    found: tuple[Event, ...] = ()
    if kinds:
        parts = book.run_parts(record.engine_id, record.run_id, channels_of(kinds))
        with book.register.reading() as session:
            text = builds.steady_pressure_of(session, record.run_id) or ""
            layout = layout_of(session, record.run_id)
        summary = PressureSummary.from_json(text.partition("\n")[2])
        straight = straight_share(summary, surface, spec)
        events_found = detect_parts(parts, spec, surface, kinds, straight=straight)
        found = placed(with_doubts(events_found, record.doubts), layout)
    with book.register.writing() as session:
        if runs.find_run(session, record.run_id).judged_by != record.judged_by:
            return False
        events.replace_events(
            session,
            record.run_id,
            found,
            judged_by=key,
            kinds=kinds,
            spec_version=spec.version(),
        )
    return True


def _summary_or_why_not(
    book: Logbook, engine_id: str, spec: EngineSpec, run_id: str
) -> str | RunFileError:
    try:
        return _keep_summary(book, engine_id, run_id, spec)
    except RunFileError as error:
        return error


def _keep_summary(book: Logbook, engine_id: str, run_id: str, spec: EngineSpec) -> str:
    exposure, text = summarise(book.run_parts(engine_id, run_id, WATCHED), run_id, spec)
    with book.register.writing() as session:
        exposures.save_exposure(session, run_id, exposure)
        builds.save_steady_pressure(session, run_id, text)
    return text
