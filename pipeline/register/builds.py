"""Refreshes, the builds between them, and the oil pressure that is expected of a build."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline.errors import RegisterError
from pipeline.register.engines import refuse_impossible, require_engine, shown
from pipeline.register.journal import as_text, write_down
from pipeline.register.models import RefreshRow, RunRow, SteadyPressureRow, SurfaceRow
from pipeline.register.runs import in_window
from pipeline.register.values import Build, SurfaceRecord


def add_refresh(session: Session, engine_id: str, at: datetime, note: str = "") -> None:
    """Write down that an engine was refreshed.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        at: when; its new build begins then.
        note: what was done.

    Raises:
        RegisterError: no such engine; a build that begins at that instant is there already; or it
            lies before the engine was built, or in the future.
    """
    refuse_impossible(session, engine_id, at, "The refresh")
    if at in [build.since for build in builds_of(session, engine_id)]:
        raise RegisterError(
            f"A build of engine {engine_id} begins at {shown(at)} already: nothing to add."
        )
    session.add(RefreshRow(engine_id=engine_id, at=at, note=note))
    what = {"before": None, "after": {"at": as_text(at)}}
    write_down(session, "engine refresh", engine_id, what, note)


def builds_of(session: Session, engine_id: str) -> tuple[Build, ...]:
    """Return the builds of an engine, oldest first: one more than it had refreshes.

    Raises:
        RegisterError: no such engine.
    """
    built = require_engine(session, engine_id).built_at
    query = select(RefreshRow.at, RefreshRow.note).where(RefreshRow.engine_id == engine_id)
    begun: list[tuple[datetime | None, str]] = [(built, "")]
    begun += [(at, note) for at, note in session.execute(query.order_by(RefreshRow.at))]
    ends = [since for since, _ in begun[1:]] + [None]
    return tuple(
        Build(engine_id, number, since, until, note)
        for number, ((since, note), until) in enumerate(zip(begun, ends, strict=True), start=1)
    )


def build_at(session: Session, engine_id: str, at: datetime) -> Build:
    """Return the build that an engine was in.

    Raises:
        RegisterError: no such engine, or it was not built yet.
    """
    for build in reversed(builds_of(session, engine_id)):
        if build.since is None or build.since <= at:
            return build
    raise RegisterError(
        f"The engine {engine_id} was not built yet at {shown(at)}: name a later one."
    )


def save_steady_pressure(session: Session, run_id: str, text: str) -> None:
    """Keep the steady oil pressures of a run in place of any kept before.

    Args:
        session: of a writing transaction.
        run_id: the run.
        text: as the stage that made them wrote them.
    """
    session.merge(SteadyPressureRow(run_id=run_id, text=text))
    session.flush()


def steady_pressure_of(session: Session, run_id: str) -> str | None:
    """Return the steady oil pressures kept for a run, or None."""
    row = session.get(SteadyPressureRow, run_id)
    return None if row is None else row.text


def steady_pressures(
    session: Session, build: Build, *, limit: int | None = None
) -> tuple[tuple[str, str], ...]:
    """Return (run id, steady oil pressures) of the runs of a build, in the order of their start.

    Removed runs, and runs for which none were kept, are out.

    Args:
        session: of a transaction.
        build: the build.
        limit: the first so many.
    """
    query = (
        select(RunRow.run_id, SteadyPressureRow.text)
        .join(SteadyPressureRow, SteadyPressureRow.run_id == RunRow.run_id)
        .where(RunRow.engine_id == build.engine_id, *in_window(build.since, build.until))
        .where(RunRow.removed_at.is_(None))
        .order_by(RunRow.started_at, RunRow.run_id)
        .limit(limit)
    )
    return tuple((run_id, text) for run_id, text in session.execute(query))


def save_surface(session: Session, build: Build, surface: SurfaceRecord) -> None:
    """Keep the expected-pressure surface of a build in place of any kept before.

    Args:
        session: of a writing transaction.
        build: the build.
        surface: its surface.
    """
    session.merge(
        SurfaceRow(
            engine_id=build.engine_id,
            build=_build_key(build),
            text=surface.text,
            key=surface.key,
        )
    )
    session.flush()


def surface_of(session: Session, build: Build) -> SurfaceRecord | None:
    """Return the expected-pressure surface kept for a build, or None."""
    row = session.get(SurfaceRow, (build.engine_id, _build_key(build)))
    return None if row is None else SurfaceRecord(row.text, row.key)


def _build_key(build: Build) -> str:
    return as_text(build.since) or ""
