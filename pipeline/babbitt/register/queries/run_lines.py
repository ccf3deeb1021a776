"""Runs as a listing shows them: a line each, newest first, a stretch of them at a time."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal, cast

from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlalchemy.orm import Session

from babbitt.model.event import NOT_COUNTED
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.records import RunRecord
from babbitt.register.records.circuits import at_circuit
from babbitt.register.records.engines import require_engine
from babbitt.register.records.runs import in_window, to_record
from babbitt.register.tables.models import (
    EngineRow,
    EventRow,
    ExposureRow,
    ExposureWatchRow,
    RunRow,
)

if TYPE_CHECKING:
    from babbitt.model.run import StartBasis


Only = Literal["all", "harm", "to_review"]


@dataclass(frozen=True)
class KindLine:
    """The events of one kind in a run.

    Attributes:
        kind: of them.
        count: how many count; those reviewed as sensor fault or harmless are out.
        worst: their worst value; None where none counts.
        unit: of `worst`.
        set_aside: how many were reviewed as sensor fault or harmless.
        to_review: how many nobody has reviewed.
    """

    kind: Kind
    count: int
    worst: float | None
    unit: str
    set_aside: int
    to_review: int


@dataclass(frozen=True)
class RunLine:
    """One run of a listing.

    Attributes:
        run_id: its id.
        engine_id: the engine that made it.
        started_at: UTC.
        start_basis: how the start is known.
        duration_s: from the first sample to the last.
        source_name: file name of the log; "" for unlogged running.
        unlogged: entered by hand: running that no logger saw.
        peak_rpm: highest engine speed, 1/min; None where not known.
        warnings: what a reader of the run should know, a sentence each.
        circuit: where it was; None: nobody said.
        blind: kinds of harm that it could not show, having no fit sensor; of logged running only.
        kinds: its events by kind, in the order of KINDS; kinds without one are out.
    """

    run_id: str
    engine_id: str
    started_at: datetime
    start_basis: StartBasis
    duration_s: float
    source_name: str
    unlogged: bool
    peak_rpm: float | None
    warnings: tuple[str, ...]
    circuit: str | None
    blind: tuple[Kind, ...]
    kinds: tuple[KindLine, ...]


@dataclass(frozen=True)
class RunLines:
    """A stretch of a listing.

    Attributes:
        lines: newest first.
        found: how many runs the listing has in all.
    """

    lines: tuple[RunLine, ...]
    found: int


def run_lines(
    session: Session,
    *,
    engine_id: str | None = None,
    circuit: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    only: Only = "all",
    limit: int,
    offset: int = 0,
) -> RunLines:
    """Return runs newest first, in six queries at most; removed ones are out.

    Args:
        session: of a transaction.
        engine_id: only those of this engine.
        circuit: only those there.
        since: only those that start then or later.
        until: only those that start before.
        only: all, those with events that count, or those with events that nobody reviewed.
        limit: no more than so many lines.
        offset: leave out so many of the newest.

    Raises:
        RegisterError: no such engine.
    """
    conditions = [RunRow.removed_at.is_(None), *in_window(since, until), *_having(only)]
    if engine_id is not None:
        require_engine(session, engine_id)
        conditions.append(RunRow.engine_id == engine_id)
    if circuit is not None:
        conditions.append(at_circuit(session, circuit))
    found = session.scalar(select(func.count()).select_from(RunRow).where(*conditions)) or 0
    rows = session.execute(
        select(
            RunRow.run_id,
            RunRow.engine_id,
            RunRow.started_at,
            RunRow.start_basis,
            RunRow.duration_s,
            RunRow.source_name,
            RunRow.unlogged,
            RunRow.warnings,
            RunRow.circuit,
            ExposureRow.peak_rpm,
        )
        .outerjoin(ExposureRow, ExposureRow.run_id == RunRow.run_id)
        .where(*conditions)
        .order_by(RunRow.started_at.desc(), RunRow.run_id.desc())
        .limit(limit)
        .offset(offset)
    ).all()
    ids = [row.run_id for row in rows]
    kinds, watched = _kinds(session, ids), _watched(session, ids)
    return RunLines(tuple(_line(row, kinds, watched) for row in rows), found)


def newest_logged(
    session: Session, limit: int, *, by: Literal["start", "intake"], engine_id: str | None = None
) -> tuple[RunRecord, ...]:
    """Return the newest runs that a logger saw, the newest first; one query.

    Args:
        session: of a transaction.
        limit: no more than so many.
        by: by their start, or by when their logs were taken in.
        engine_id: only those of this engine.
    """
    at = RunRow.started_at if by == "start" else RunRow.ingested_at
    query = select(RunRow).where(RunRow.removed_at.is_(None), RunRow.unlogged.is_(False))
    if engine_id is not None:
        query = query.where(RunRow.engine_id == engine_id)
    rows = session.scalars(query.order_by(at.desc(), RunRow.run_id.desc()).limit(limit))
    return tuple(to_record(row) for row in rows)


def engines_with_runs(session: Session) -> tuple[str, ...]:
    """Return the ids of the engines that have runs, in order; removed runs do not count."""
    ran = select(RunRow.engine_id).where(RunRow.removed_at.is_(None))
    query = select(EngineRow.engine_id).where(EngineRow.engine_id.in_(ran))
    return tuple(session.scalars(query.order_by(EngineRow.engine_id)))


def neighbours(
    session: Session, engine_id: str, started_at: datetime, run_id: str
) -> tuple[str | None, str | None]:
    """Return the ids of the runs of an engine before and after a run; None where there is none.

    Args:
        session: of a transaction.
        engine_id: the engine.
        started_at: start of the run, UTC.
        run_id: the run.
    """
    there = select(RunRow.run_id).where(RunRow.engine_id == engine_id, RunRow.removed_at.is_(None))
    same = RunRow.started_at == started_at
    before = or_(RunRow.started_at < started_at, and_(same, RunRow.run_id < run_id))
    after = or_(RunRow.started_at > started_at, and_(same, RunRow.run_id > run_id))
    newest_first = there.order_by(RunRow.started_at.desc(), RunRow.run_id.desc()).limit(1)
    oldest_first = there.order_by(RunRow.started_at, RunRow.run_id).limit(1)
    return (
        session.scalar(newest_first.where(before)),
        session.scalar(oldest_first.where(after)),
    )


def _having(only: Only) -> list[ColumnElement[bool]]:
    if only == "all":
        return []
    events = select(EventRow.run_id).where(EventRow.run_id == RunRow.run_id)
    return [events.where(_open() if only == "to_review" else _counts()).exists()]


def _open() -> ColumnElement[bool]:
    return EventRow.review.is_(None)


def _counts() -> ColumnElement[bool]:
    return or_(EventRow.review.is_(None), EventRow.review.not_in(NOT_COUNTED))


def _kinds(session: Session, run_ids: list[str]) -> dict[str, dict[str, KindLine]]:
    query = (
        select(
            EventRow.run_id,
            EventRow.kind,
            func.count().label("events"),
            func.count().filter(_counts()).label("counting"),
            func.count().filter(_open()).label("open"),
            func.min(EventRow.peak).filter(_counts()).label("lowest"),
            func.max(EventRow.peak).filter(_counts()).label("highest"),
        )
        .where(EventRow.run_id.in_(run_ids))
        .group_by(EventRow.run_id, EventRow.kind)
    )
    found: dict[str, dict[str, KindLine]] = defaultdict(dict)
    for row in session.execute(query):
        kind = cast(Kind, row.kind)
        found[row.run_id][kind] = KindLine(
            kind=kind,
            count=row.counting,
            worst=row.lowest if KINDS[kind].worst == "lowest" else row.highest,
            unit=KINDS[kind].unit,
            set_aside=row.events - row.counting,
            to_review=row.open,
        )
    return found


def _watched(session: Session, run_ids: list[str]) -> dict[str, set[str]]:
    query = select(ExposureWatchRow.run_id, ExposureWatchRow.kind).where(
        ExposureWatchRow.run_id.in_(run_ids), ExposureWatchRow.watched_s > 0.0
    )
    found: dict[str, set[str]] = defaultdict(set)
    for run_id, kind in session.execute(query):
        found[run_id].add(kind)
    return found


def _line(row: Any, kinds: dict[str, dict[str, KindLine]], watched: dict[str, set[str]]) -> RunLine:
    seen = watched.get(row.run_id, set())
    of_run = kinds.get(row.run_id, {})
    return RunLine(
        run_id=row.run_id,
        engine_id=row.engine_id,
        started_at=row.started_at,
        start_basis=cast("StartBasis", row.start_basis),
        duration_s=row.duration_s,
        source_name=row.source_name,
        unlogged=row.unlogged,
        peak_rpm=row.peak_rpm,
        warnings=tuple(row.warnings),
        circuit=row.circuit,
        blind=() if row.unlogged else tuple(kind for kind in KINDS if kind not in seen),
        kinds=tuple(of_run[kind] for kind in KINDS if kind in of_run),
    )
