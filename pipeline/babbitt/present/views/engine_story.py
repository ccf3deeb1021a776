"""The story of one engine since its last refresh."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from babbitt.detect.pressure import PressureSurface, floor_line_kpa
from babbitt.jobs.outlook import steady_runs
from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import Settings
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import NOT_COUNTED
from babbitt.model.exposure import RunningTable
from babbitt.model.part_records import PartSums
from babbitt.model.records import Build, DatedEvent
from babbitt.model.run import FloatArray
from babbitt.model.service_limits import ServiceUse, service_use
from babbitt.outlook.drift import Drift, SteadyRun, ratios_at
from babbitt.present.views.foresight import Foreseen, require_known
from babbitt.register import Session
from babbitt.register.queries.part_sums import part_sums
from babbitt.register.queries.places import where_now
from babbitt.register.queries.run_exposures import RunExposure, running_tables
from babbitt.register.records import builds
from babbitt.totals.totals import Totals

_STEPS = 60
"""Points of a line on the expected surface."""


@dataclass(frozen=True, eq=False)
class Pressure:
    """Steady oil pressure of a build, beside what is expected of it.

    Attributes:
        seen: rpm, oil_c, kpa, seconds and run of each stretch of steady running.
        expected: oil_c, rpm and kpa along lines of one oil temperature.
        floor: rpm and kpa along the floor line of the spec.
    """

    seen: pd.DataFrame
    expected: pd.DataFrame
    floor: pd.DataFrame


@dataclass(frozen=True, eq=False)
class DriftLine:
    """The drift of oil pressure, run by run.

    Attributes:
        drift: what it comes to, at one point of running.
        seen: hours and change of each run; the change as a share of the pressure when fresh.
        line: hours, change, low and high of the line through them, from fresh on.
    """

    drift: Drift
    seen: pd.DataFrame
    line: pd.DataFrame


@dataclass(frozen=True, eq=False)
class PartLine:
    """A tracked part that sits in the engine.

    Attributes:
        position: cylinder, journal or side; None: the only one, or every one.
        taken: over its life, in whatever engines.
        uses: of its service limits.
    """

    position: str | None
    taken: PartSums
    uses: tuple[ServiceUse, ...]


@dataclass(frozen=True, eq=False)
class Story:
    """What an engine has been through since its last refresh.

    A place on the time line is 0 where the first run begins, 1 where it ends and the second begins,
    and so on.

    Attributes:
        engine_id: the engine.
        at: UTC, the moment it is told for.
        build: its build of then.
        spec: in force.
        totals: since the refresh.
        runs: run_id, started_at, running_s and unlogged of each run, in order.
        events: event_id, run_id, kind, place, at, duration_s, peak, peak_unit, dose, dose_unit,
            used (share of the life dose; NaN without one), counted (False: reviewed as sensor fault
            or harmless).
        used: kind, place and used: how the share of each life dose grew.
        table: running time by engine speed and boost; None: no run has one.
        pressure: steady oil pressure; None while nothing is expected of the build.
        drift: of oil pressure; None: not known.
        parts: tracked ones, in the order of their kinds.
    """

    engine_id: str
    at: datetime
    build: Build
    spec: EngineSpec
    totals: Totals
    runs: pd.DataFrame
    events: pd.DataFrame
    used: pd.DataFrame
    table: RunningTable | None
    pressure: Pressure | None
    drift: DriftLine | None
    parts: tuple[PartLine, ...]


def engine_story(book: Logbook, foreseen: Foreseen, engine_id: str) -> Story:
    """Return the story of an engine since its last refresh.

    Args:
        book: the logbook.
        foreseen: what its record foretells.
        engine_id: the engine.

    Raises:
        RegisterError: no such engine, or it was not built yet.
        LogbookError: the register cannot be read.
    """
    known = require_known(book, foreseen, engine_id)
    build, spec, gathered = known.build, known.state.spec, foreseen.gathered
    runs = [
        run for run in gathered.runs.get(engine_id, ()) if _within(build, run.started_at, foreseen)
    ]
    events = [
        event
        for event in gathered.events.get(engine_id, ())
        if _within(build, event.run_started_at, foreseen)
    ]
    told = _events(events, _places(runs, events), spec)
    with book.register.reading() as session:
        steady = steady_runs(session, gathered, build, foreseen.at)
        surface = builds.surface_of(session, build)
        tables = running_tables(session, engine_id, since=build.since, until=foreseen.at)
        parts = _parts(session, foreseen.settings, engine_id, foreseen.at)
    return Story(
        engine_id=engine_id,
        at=foreseen.at,
        build=build,
        spec=spec,
        totals=foreseen.totals[engine_id],
        runs=_runs(runs),
        events=told,
        used=_used(told, len(runs)),
        table=_added_up(tables),
        pressure=_pressure(steady, surface.text, spec) if surface else None,
        drift=_drift_line(steady, known.state.drift),
        parts=parts,
    )


def _within(build: Build, started_at: datetime, foreseen: Foreseen) -> bool:
    return (build.since is None or build.since <= started_at) and started_at < foreseen.at


def _runs(runs: list[RunExposure]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "run_id": [run.run_id for run in runs],
            "started_at": [run.started_at for run in runs],
            "running_s": np.array([run.running_s for run in runs], dtype=np.float64),
            "unlogged": np.array([run.unlogged for run in runs], dtype=np.bool_),
        }
    )


def _places(runs: list[RunExposure], events: list[DatedEvent]) -> list[float]:
    """Return where on the time line events lie; a run is as long as its running or last event."""
    number = {run.run_id: n for n, run in enumerate(runs)}
    length = {run.run_id: run.running_s for run in runs}
    for each in events:
        run_id = each.event.run_id
        length[run_id] = max(length[run_id], each.event.end_s)
    return [
        number[each.event.run_id] + each.event.start_s / max(length[each.event.run_id], 1.0)
        for each in events
    ]


def _events(events: list[DatedEvent], places: list[float], spec: EngineSpec) -> pd.DataFrame:
    rows = [
        {
            "event_id": each.event.event_id,
            "run_id": each.event.run_id,
            "kind": each.event.kind,
            "place": place,
            "at": each.at,
            "duration_s": each.event.duration_s,
            "peak": each.event.peak,
            "peak_unit": each.event.peak_unit,
            "dose": each.event.dose,
            "dose_unit": each.event.dose_unit,
            "used": each.event.dose / (spec.life.of(each.event.kind) or np.nan),
            "counted": each.event.review not in NOT_COUNTED,
        }
        for each, place in zip(events, places, strict=True)
    ]
    columns = (
        *("event_id", "run_id", "kind", "place", "at", "duration_s", "peak", "peak_unit"),
        *("dose", "dose_unit", "used", "counted"),
    )
    return pd.DataFrame(rows, columns=list(columns)).astype({"counted": bool, "used": float})


def _used(events: pd.DataFrame, runs: int) -> pd.DataFrame:
    """Return how the share of each life dose grew, event by event, from 0 to the newest run."""
    counted = events[events["counted"] & events["used"].notna()].sort_values("place")
    pieces = []
    for kind, of_kind in counted.groupby("kind", sort=False):
        places = np.concatenate([[0.0], of_kind["place"], [float(runs)]])
        shares = np.concatenate([[0.0], of_kind["used"].cumsum(), [of_kind["used"].sum()]])
        pieces.append(pd.DataFrame({"kind": kind, "place": places, "used": shares}))
    if not pieces:
        return pd.DataFrame({"kind": [], "place": np.zeros(0), "used": np.zeros(0)})
    return pd.concat(pieces, ignore_index=True)


def _added_up(tables: tuple[RunningTable, ...]) -> RunningTable | None:
    """Return tables as one; those with other edges than the newest are left out."""
    if not tables:
        return None
    rpm_edges, boost_edges_kpa = tables[-1].rpm_edges, tables[-1].boost_edges_kpa
    alike = [
        each.seconds
        for each in tables
        if (each.rpm_edges, each.boost_edges_kpa) == (rpm_edges, boost_edges_kpa)
    ]
    seconds = np.sum(np.array(alike), axis=0)
    if not seconds.any():
        return None
    return RunningTable(rpm_edges, boost_edges_kpa, tuple(map(tuple, seconds.tolist())))


def _pressure(steady: tuple[SteadyRun, ...], text: str, spec: EngineSpec) -> Pressure | None:
    if not steady:
        return None
    surface = PressureSurface.from_json(text)
    rpm, oil_c, seconds, ratio, run = (
        np.concatenate(columns)
        for columns in zip(
            *(
                (r.rpm, r.oil_c, r.seconds, r.log_ratio, np.full(len(r.rpm), n))
                for n, r in enumerate(steady)
            ),
            strict=True,
        )
    )
    kpa = np.exp(ratio) * _expected(surface, rpm, oil_c)
    seen = pd.DataFrame({"rpm": rpm, "oil_c": oil_c, "kpa": kpa, "seconds": seconds, "run": run})
    lines = []
    for at_c in _round_temperatures(oil_c):
        near = rpm[np.abs(oil_c - at_c) <= 10.0]
        along, at = np.linspace(near.min(), near.max(), _STEPS), np.full(_STEPS, at_c)
        kpa_along = _expected(surface, along, at)
        lines.append(pd.DataFrame({"oil_c": at, "rpm": along, "kpa": kpa_along}))
    along = np.linspace(spec.oil_pressure.floor_above_rpm, rpm.max(), _STEPS)
    floor = pd.DataFrame({"rpm": along, "kpa": floor_line_kpa(along, spec.oil_pressure)})
    return Pressure(seen, pd.concat(lines, ignore_index=True), floor)


def _round_temperatures(oil_c: FloatArray) -> list[float]:
    """Return up to three round oil temperatures that span what was seen, each near some of it."""
    spread = np.quantile(oil_c, (0.05, 0.5, 0.95), method="nearest")
    return sorted({float(round(each / 10.0) * 10.0) for each in spread.tolist()})


def _expected(surface: PressureSurface, rpm: FloatArray, oil_c: FloatArray) -> FloatArray:
    found = surface.expected(rpm.astype(np.float32), oil_c.astype(np.float32))
    return found.astype(np.float64)


def _drift_line(steady: tuple[SteadyRun, ...], drift: Drift | None) -> DriftLine | None:
    """Return the drift run by run; its line lies so that half of the runs are above it."""
    if drift is None:
        return None
    hours, ratios = ratios_at(steady, (drift.rpm, drift.oil_c))
    along = np.linspace(0.0, drift.hours, 2)
    slopes = np.log1p([drift.change, drift.low, drift.high]) / drift.hours
    fresh = float(np.median(ratios - slopes[0] * hours))
    change, low, high = (np.expm1(slope * along) for slope in slopes)
    return DriftLine(
        drift,
        seen=pd.DataFrame({"hours": hours, "change": np.expm1(ratios - fresh)}),
        line=pd.DataFrame({"hours": along, "change": change, "low": low, "high": high}),
    )


def _parts(
    session: Session, settings: Settings, engine_id: str, at: datetime
) -> tuple[PartLine, ...]:
    fitted = {place.part.part_id: place.fitment for place in where_now(session, at=at)}
    lines = []
    for sums in part_sums(session, engine_id=engine_id, at=at):
        limit = settings.service.get(sums.part.kind)
        fitment = fitted[sums.part.part_id]
        lines.append(
            PartLine(
                position=fitment.position if fitment else None,
                taken=sums,
                uses=service_use(limit, sums.sums) if limit else (),
            )
        )
    return tuple(lines)
