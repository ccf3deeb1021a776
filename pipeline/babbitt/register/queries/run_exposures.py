"""What each run put on its engine, for sums that need the runs one by one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from babbitt.model.exposure import RunningTable
from babbitt.model.kinds import Kind
from babbitt.register.records.exposures import to_running_table
from babbitt.register.records.runs import in_window
from babbitt.register.tables.models import ExposureRow, ExposureWatchRow, RunRow


@dataclass(frozen=True)
class RunExposure:
    """What a run put on its engine, apart from its events.

    Attributes:
        run_id: the run.
        engine_id: the engine that made it.
        started_at: UTC.
        running_s: seconds with the engine running.
        revolutions: of the crankshaft; None: unknown.
        watched_s: running seconds in which each kind of harm could have been seen.
        unlogged: entered by hand: nothing more is known of it.
        judged: whether its events have been searched for.
        circuit: where it was; None: nobody said.
        rod_fatigue_s: see `Exposure`; None: unknown.
        spring_fatigue_s: likewise.
    """

    run_id: str
    engine_id: str
    started_at: datetime
    running_s: float
    revolutions: float | None
    watched_s: dict[Kind, float]
    unlogged: bool
    judged: bool
    circuit: str | None
    rod_fatigue_s: float | None = None
    spring_fatigue_s: float | None = None


def run_exposures(session: Session, engine_ids: Collection[str]) -> tuple[RunExposure, ...]:
    """Return what the runs of some engines put on them, in the order of their start; two queries.

    Removed runs are out.

    Args:
        session: of a transaction.
        engine_ids: the engines.
    """
    theirs = RunRow.engine_id.in_(engine_ids) & RunRow.removed_at.is_(None)
    watched: dict[str, dict[Kind, float]] = defaultdict(dict)
    seconds = select(ExposureWatchRow.run_id, ExposureWatchRow.kind, ExposureWatchRow.watched_s)
    for run_id, kind, watched_s in session.execute(
        seconds.join(RunRow, RunRow.run_id == ExposureWatchRow.run_id).where(theirs)
    ):
        watched[run_id][kind] = watched_s
    query = (
        select(
            RunRow.run_id,
            RunRow.engine_id,
            RunRow.started_at,
            ExposureRow.running_s,
            ExposureRow.revolutions,
            ExposureRow.rod_fatigue_s,
            ExposureRow.spring_fatigue_s,
            RunRow.unlogged,
            RunRow.judged_by,
            RunRow.circuit,
        )
        .join(ExposureRow, ExposureRow.run_id == RunRow.run_id)
        .where(theirs)
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    return tuple(
        RunExposure(
            run_id=row.run_id,
            engine_id=row.engine_id,
            started_at=row.started_at,
            running_s=row.running_s,
            revolutions=row.revolutions,
            rod_fatigue_s=row.rod_fatigue_s,
            spring_fatigue_s=row.spring_fatigue_s,
            watched_s=watched[row.run_id],
            unlogged=row.unlogged,
            judged=row.unlogged or row.judged_by is not None,
            circuit=row.circuit,
        )
        for row in session.execute(query)
    )


def running_tables(
    session: Session, engine_id: str, *, since: datetime | None, until: datetime | None
) -> tuple[RunningTable, ...]:
    """Return the time by engine speed and boost of an engine's runs, in the order of their start.

    Removed runs, and runs without such a table, are out; one query.

    Args:
        session: of a transaction.
        engine_id: the engine.
        since: only of runs that start then or later.
        until: only of runs that start before.
    """
    query = (
        select(ExposureRow.running_table)
        .join(RunRow, RunRow.run_id == ExposureRow.run_id)
        .where(RunRow.engine_id == engine_id, RunRow.removed_at.is_(None))
        .where(ExposureRow.running_table.is_not(None), *in_window(since, until))
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    return tuple(to_running_table(raw) for raw in session.scalars(query) if raw is not None)
