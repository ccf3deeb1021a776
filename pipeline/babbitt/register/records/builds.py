"""Refreshes, the builds between them, and the oil pressure that is expected of a build."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, TypedDict, Unpack

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.part_records import BuiltMeasurement, SheetLine
from babbitt.model.records import Build, RefreshRecord, SurfaceRecord
from babbitt.register.journal.changes import Record, changing, require
from babbitt.register.journal.entries import as_text
from babbitt.register.journal.fields import shown
from babbitt.register.records.engines import refuse_before_built, require_engine
from babbitt.register.records.fitments import move_with_refresh
from babbitt.register.records.runs import in_window
from babbitt.register.records.sheets import write_sheet
from babbitt.register.tables.models import (
    EngineRow,
    RefreshRow,
    RunRow,
    SteadyPressureRow,
    SurfaceRow,
)


class RefreshChange(TypedDict, total=False):
    """What may be corrected of a refresh."""

    at: datetime
    note: str


def add_refresh(
    session: Session,
    engine_id: str,
    at: datetime,
    note: str = "",
    *,
    lines: Iterable[SheetLine] = (),
    measurements: Iterable[BuiltMeasurement] = (),
) -> RefreshRecord:
    """Write down that an engine was refreshed, and what was done.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        at: when; its new build begins then.
        note: what was done, in words.
        lines: what was done with each part; a tracked part that is named is fitted from then on.
        measurements: of the fresh build.

    Raises:
        RegisterError: no such engine; a build that begins at that instant is there already; it
            lies before the engine was built; or a line or measurement cannot be.
    """
    require_engine(session, engine_id)
    row = RefreshRow(engine_id=engine_id, at=at, note=note)
    with changing(session, "engine refresh", note) as act:
        act.create(REFRESH, row)
        write_sheet(session, act, engine_id, row, lines, measurements)
    return _to_refresh(row)


def add_to_sheet(
    session: Session,
    engine_id: str,
    refresh_id: int | None,
    *,
    lines: Iterable[SheetLine] = (),
    measurements: Iterable[BuiltMeasurement] = (),
    reason: str = "",
) -> None:
    """Add to the sheet of a build that is written down already.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        refresh_id: the refresh that began the build; None: the engine's first build.
        lines: what was done with each part; a tracked part that is named is fitted from then on.
        measurements: of the fresh build.
        reason: for the journal.

    Raises:
        RegisterError: no such engine or refresh of it, or a line or measurement cannot be.
    """
    require_engine(session, engine_id)
    refresh = None if refresh_id is None else require(session, REFRESH, refresh_id)
    if refresh is not None and refresh.engine_id != engine_id:
        raise RegisterError(f"The refresh {refresh_id} is of engine {refresh.engine_id}.")
    with changing(session, "engine sheet", reason) as act:
        write_sheet(session, act, engine_id, refresh, lines, measurements)


def amend_refresh(
    session: Session,
    refresh_id: int,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[RefreshChange],
) -> RefreshRecord:
    """Correct a refresh; runs in between then belong to the other build, and need judging anew.

    What was fitted or removed at the refresh moves with it.

    Args:
        session: of a writing transaction.
        refresh_id: the refresh.
        seen: its version that the person looked at.
        reason: for the journal.
        **changes: see `RefreshChange`.

    Raises:
        RegisterError: no such refresh, it was changed since, or it cannot have been then.
    """
    row = require(session, REFRESH, refresh_id)
    was = row.at
    with changing(session, "engine refresh", reason) as act:
        act.amend(REFRESH, row, seen=seen, **changes)
        if row.at != was:
            move_with_refresh(session, act, row.engine_id, was, row.at)
    return _to_refresh(row)


def withdraw_refresh(
    session: Session, refresh_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a refresh that never was, and its sheet; the builds beside it become one.

    Parts that it fitted stay fitted: withdraw or correct those fitments too where they never were.

    Args:
        session: of a writing transaction.
        refresh_id: the refresh.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such refresh, or it was changed since.
    """
    row = require(session, REFRESH, refresh_id)
    with changing(session, "engine refresh", reason) as act:
        act.withdraw(REFRESH, row, seen=seen)


def refreshes_of(session: Session, engine_id: str) -> tuple[RefreshRecord, ...]:
    """Return the refreshes of an engine, oldest first.

    Raises:
        RegisterError: no such engine.
    """
    require_engine(session, engine_id)
    return tuple(_to_refresh(row) for row in session.scalars(_refreshes(engine_id)))


def find_refresh(session: Session, engine_id: str, at: datetime | None = None) -> RefreshRecord:
    """Return the refresh of an engine at an instant, or within the day that begins with it.

    Args:
        session: of a transaction.
        engine_id: the engine.
        at: the instant; None: the newest refresh.

    Raises:
        RegisterError: no such engine or refresh, or several that day.
    """
    known = refreshes_of(session, engine_id)
    found = [each for each in known if at is None or at <= each.at < at + timedelta(days=1)]
    exact = [each for each in found if each.at == at]
    when = "" if at is None else f" on {shown(at)}"
    if not found:
        raise RegisterError(f"The engine {engine_id} has no refresh{when}.")
    if at is not None and len(found) > 1 and not exact:
        days = ", ".join(shown(each.at) for each in found)
        raise RegisterError(
            f"The engine {engine_id} has several refreshes{when}: say which ({days})."
        )
    return exact[0] if exact else found[-1]


def builds_of(session: Session, engine_id: str) -> tuple[Build, ...]:
    """Return the builds of an engine, oldest first: one more than it had refreshes.

    Raises:
        RegisterError: no such engine.
    """
    engine = require_engine(session, engine_id)
    return _builds(engine, session.scalars(_refreshes(engine_id)).all())


def all_builds(session: Session) -> dict[str, tuple[Build, ...]]:
    """Return the builds of every engine, oldest first, by engine; two queries."""
    refreshes: dict[str, list[RefreshRow]] = defaultdict(list)
    live = select(RefreshRow).where(RefreshRow.withdrawn_at.is_(None)).order_by(RefreshRow.at)
    for row in session.scalars(live):
        refreshes[row.engine_id].append(row)
    standing = select(EngineRow).where(EngineRow.withdrawn_at.is_(None))
    engines = session.scalars(standing.order_by(EngineRow.engine_id))
    return {engine.engine_id: _builds(engine, refreshes[engine.engine_id]) for engine in engines}


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


def build_ended_at(builds: Sequence[Build], at: datetime) -> Build:
    """Return the build that a teardown at an instant ended: at a refresh, the one before it.

    Args:
        builds: of an engine, oldest first.
        at: when it was taken apart, after it was built.
    """
    begun = [build for build in builds if build.since is None or build.since < at]
    return begun[-1] if begun else builds[0]


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

    Removed runs, runs that may have been misread, and runs for which none were kept, are out.

    Args:
        session: of a transaction.
        build: the build.
        limit: the first so many.
    """
    query = (
        select(RunRow.run_id, SteadyPressureRow.text)
        .join(SteadyPressureRow, SteadyPressureRow.run_id == RunRow.run_id)
        .where(RunRow.engine_id == build.engine_id, *in_window(build.since, build.until))
        .where(RunRow.removed_at.is_(None), RunRow.doubts_key == "")
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


def _builds(engine: EngineRow, refreshes: Sequence[RefreshRow]) -> tuple[Build, ...]:
    begun: list[tuple[datetime | None, str, int | None]] = [(engine.built_at, "", None)]
    begun += [(row.at, row.note, row.id) for row in refreshes]
    ends = [since for since, _, _ in begun[1:]] + [None]
    return tuple(
        Build(engine.engine_id, number, since, until, note, refresh_id)
        for number, ((since, note, refresh_id), until) in enumerate(
            zip(begun, ends, strict=True), start=1
        )
    )


def _refreshes(engine_id: str) -> Select[RefreshRow]:
    query = select(RefreshRow).where(
        RefreshRow.engine_id == engine_id, RefreshRow.withdrawn_at.is_(None)
    )
    return query.order_by(RefreshRow.at)


def _to_refresh(row: RefreshRow) -> RefreshRecord:
    return RefreshRecord(row.id, row.engine_id, row.at, row.note, row.version)


def _settle(session: Session, row: RefreshRow, _before: Mapping[str, Any]) -> None:
    if row.withdrawn_at is not None:
        return
    refuse_before_built(session, row.engine_id, row.at, "The refresh")
    same = _refreshes(row.engine_id).where(RefreshRow.at == row.at, RefreshRow.id != row.id)
    first = require_engine(session, row.engine_id).built_at
    if row.at == first or session.scalars(same).first() is not None:
        raise RegisterError(
            f"A build of engine {row.engine_id} begins at {shown(row.at)} already: correct that "
            "refresh, or choose another time."
        )


REFRESH = Record(
    RefreshRow,
    about=("engine_id", "at"),
    settle=_settle,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt journal",
)
