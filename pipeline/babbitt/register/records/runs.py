"""Runs and their exposures: recording and finding them. Their correction is in corrections.py."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import ColumnElement, delete, func, literal, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.exposure import Exposure
from babbitt.model.records import RecordedChannel, RunRecord
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.register.journal.changes import Record, changing
from babbitt.register.journal.fields import shown
from babbitt.register.records.circuits import at_circuit, spelled
from babbitt.register.records.engines import refuse_before_built, require_engine
from babbitt.register.records.exposures import save_exposure
from babbitt.register.tables.models import (
    EventRow,
    ExposureRow,
    LapRow,
    RunLayoutRow,
    RunRow,
    SensorSummaryRow,
    SteadyPressureRow,
)
from babbitt.register.tables.part_models import HistoryRow

if TYPE_CHECKING:
    from babbitt.model.run import Run, RunOutline, StartBasis


CANDIDATES = 5
"""So many are named where the beginning of an id fits several."""

_TRUSTED: tuple[StartBasis, ...] = ("log", "stated")
"""Bases of a start that overlap may be judged by; a file's date says little about when it ran."""


def record_run(
    session: Session, run: Run | RunOutline, exposure: Exposure, *, circuit: str | None = None
) -> RunRecord:
    """Record a run that was taken in, with its exposure; its events are recorded when judged.

    A removed run of the same log is recorded anew, so that a log may be taken in again with better
    instructions; what people said of its events stays, and so does its circuit where none is given.

    Args:
        session: of a writing transaction.
        run: the run.
        exposure: what it put on the engine.
        circuit: where it was.

    Raises:
        RegisterError: no such engine, a run from before it was built or from within its history
            before the logs, one that is recorded already, or a circuit of too long a name.
    """
    info = run.info
    _refuse_too_early(session, info.engine_id, info.started_at, f"The log {info.source_name}")
    old = session.get(RunRow, info.run_id)
    at = spelled(session, circuit or "") or (None if old is None else old.circuit)
    if old is not None:
        _forget_removed(session, old)
    row = RunRow(
        run_id=info.run_id,
        engine_id=info.engine_id,
        started_at=info.started_at,
        ended_at=info.started_at + timedelta(seconds=run.duration_s),
        duration_s=run.duration_s,
        source_name=info.source_name,
        source_sha256=info.source_sha256,
        ingested_at=datetime.now(UTC),
        removed_at=None,
        unlogged=False,
        judged_by=None,
        read_as=None,
        trusted=False,
        doubts=[],
        doubts_key="",
        circuit=at,
        **_as_read(run),
    )
    row = session.merge(row)
    session.flush()
    save_exposure(session, info.run_id, exposure)
    return to_record(row)


def replace_reading(session: Session, run: Run | RunOutline, exposure: Exposure) -> None:
    """Put what a recorded run says of itself in place of what it said when it was read before.

    Args:
        session: of a writing transaction.
        run: as it was read now.
        exposure: what it put on the engine.
    """
    row = run_row(session, run.info.run_id)
    for name, value in _as_read(run).items():
        setattr(row, name, value)
    row.judged_by = None
    session.execute(delete(RunLayoutRow).where(RunLayoutRow.run_id == row.run_id))
    save_exposure(session, run.info.run_id, exposure)


def _as_read(run: Run | RunOutline) -> dict[str, Any]:
    """Return the columns that depend on how a log was read, and on nothing that people change."""
    info = run.info
    return {
        "start_basis": info.start_basis,
        "samples": run.samples,
        "dialect": list(info.dialect),
        "conversions": list(info.conversions),
        "warnings": list(info.warnings),
        "channels": [
            {
                "name": name,
                "unit": signal.unit,
                "native_hz": signal.native_hz,
                "header": signal.header,
            }
            for name, signal in run.signals.items()
        ],
    }


def find_run(session: Session, run_id: str) -> RunRecord:
    """Return a run by its id, or by the beginning of it.

    Raises:
        RegisterError: no run begins so, or several do; names them.
    """
    return to_record(run_row(session, run_id))


def run_by_sha256(session: Session, sha256: str) -> RunRecord | None:
    """Return the run that was made from a log with this SHA-256, removed or not; None without."""
    row = session.scalar(select(RunRow).where(RunRow.source_sha256 == sha256).limit(1))
    return None if row is None else to_record(row)


def list_runs(
    session: Session,
    *,
    engine_id: str | None = None,
    circuit: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    include_removed: bool = False,
    not_judged_by: str | None = None,
) -> tuple[RunRecord, ...]:
    """Return runs in the order of their start.

    Args:
        session: of a transaction.
        engine_id: only those of this engine.
        circuit: only those there.
        since: only those that start then or later.
        until: only those that start before.
        include_removed: those taken out of the sums too.
        not_judged_by: only logged runs whose events were judged by something else than this key
            and the run's doubts, or not yet.

    Raises:
        RegisterError: no such engine.
    """
    query = select(RunRow).where(*in_window(since, until))
    if engine_id is not None:
        require_engine(session, engine_id)
        query = query.where(RunRow.engine_id == engine_id)
    if circuit is not None:
        query = query.where(at_circuit(session, circuit))
    if not include_removed:
        query = query.where(RunRow.removed_at.is_(None))
    if not_judged_by is not None:
        other = RunRow.judged_by.is_distinct_from(literal(not_judged_by) + RunRow.doubts_key)
        query = query.where(other, RunRow.unlogged.is_(False))
    rows = session.scalars(query.order_by(RunRow.started_at, RunRow.run_id))
    return tuple(to_record(row) for row in rows)


def overlapping_runs(
    session: Session, engine_id: str, started_at: datetime, duration_s: float
) -> tuple[RunRecord, ...]:
    """Return the runs of an engine that share time with a stretch; touching ends share none.

    Only runs whose start is in the log or was stated can be told to overlap. Removed runs and
    unlogged running, whose clock times are rough, are left out.

    Args:
        session: of a transaction.
        engine_id: the engine.
        started_at: start of the stretch.
        duration_s: its length.
    """
    query = select(RunRow).where(
        RunRow.engine_id == engine_id,
        RunRow.started_at < started_at + timedelta(seconds=duration_s),
        RunRow.ended_at > started_at,
        RunRow.start_basis.in_(_TRUSTED),
        RunRow.removed_at.is_(None),
        RunRow.unlogged.is_(False),
    )
    rows = session.scalars(query.order_by(RunRow.started_at, RunRow.run_id))
    return tuple(to_record(row) for row in rows)


def in_window(since: datetime | None, until: datetime | None) -> list[ColumnElement[bool]]:
    """Return the conditions under which a run starts in a window; None: without that end."""
    conditions: list[ColumnElement[bool]] = []
    if since is not None:
        conditions.append(RunRow.started_at >= since)
    if until is not None:
        conditions.append(RunRow.started_at < until)
    return conditions


def run_row(session: Session, run_id: str) -> RunRow:
    """Return the row of a run; see `find_run`."""
    row = session.get(RunRow, run_id)
    if row is not None:
        return row
    query = select(RunRow).where(RunRow.run_id.startswith(run_id, autoescape=True))
    rows = session.scalars(query.order_by(RunRow.run_id).limit(CANDIDATES + 1)).all()
    if not rows or not run_id:
        raise RegisterError(
            f"There is no run {run_id!r}: look it up in the list.", Remedy("list_runs")
        )
    if len(rows) > 1:
        raise RegisterError(ambiguous("run", run_id, [row.run_id for row in rows]))
    return rows[0]


def ambiguous(what: str, prefix: str, ids: list[str]) -> str:
    """Return the sentence that says that several ids begin with `prefix`."""
    names = ", ".join(ids[:CANDIDATES]) + (" and more" if len(ids) > CANDIDATES else "")
    return f"{prefix!r} begins the ids of several {what}s ({names}): give more of it."


def _to_doubt(raw: Mapping[str, Any]) -> SensorDoubt:
    remedies = tuple(Remedy(**each) for each in raw["remedies"])
    return SensorDoubt(raw["sort"], tuple(raw["channels"]), raw["evidence"], remedies)


def to_record(row: RunRow) -> RunRecord:
    """Return what a row of the table says."""
    return RunRecord(
        run_id=row.run_id,
        engine_id=row.engine_id,
        started_at=row.started_at,
        start_basis=cast("StartBasis", row.start_basis),
        duration_s=row.duration_s,
        samples=row.samples,
        source_name=row.source_name,
        source_sha256=row.source_sha256,
        dialect=tuple(row.dialect),
        conversions=tuple(row.conversions),
        warnings=tuple(row.warnings),
        channels=tuple(RecordedChannel(**channel) for channel in row.channels),
        ingested_at=row.ingested_at,
        removed_at=row.removed_at,
        unlogged=row.unlogged,
        judged_by=row.judged_by,
        version=row.version,
        read_as=row.read_as,
        trusted=row.trusted,
        doubts=tuple(map(_to_doubt, row.doubts)),
        doubts_key=row.doubts_key,
        circuit=row.circuit,
    )


def refuse_overlap(session: Session, row: RunRow) -> None:
    """Refuse a run that would be counted beside another of the same time.

    Raises:
        RegisterError: it overlaps another run of its engine.
    """
    if row.unlogged or row.start_basis == "file" or row.removed_at is not None:
        return
    overlapping = overlapping_runs(session, row.engine_id, row.started_at, row.duration_s)
    others = [other.run_id for other in overlapping if other.run_id != row.run_id]
    if others:
        raise RegisterError(
            f"The run {row.run_id} overlaps {', '.join(others)} of engine {row.engine_id} in time: "
            "remove the wrong one first.",
            Remedy("remove_run", others[0]),
        )


def _forget_removed(session: Session, old: RunRow) -> None:
    """Make way for a run that is taken in again after it was removed."""
    if old.removed_at is None:
        raise RegisterError(f"The run {old.run_id} is recorded already: nothing to do.")
    for table in (EventRow, SteadyPressureRow, SensorSummaryRow, LapRow, RunLayoutRow):
        session.execute(delete(table).where(table.run_id == old.run_id))
    with changing(session, "run replace", "taken in again") as act:
        act.replace(RUN, old)


def _refuse_too_early(session: Session, engine_id: str, at: datetime, what: str) -> None:
    """Refuse a run from before the engine was built, or one that its history counts already."""
    refuse_before_built(session, engine_id, at, what)
    history = select(func.max(HistoryRow.until)).where(
        HistoryRow.engine_id == engine_id, HistoryRow.withdrawn_at.is_(None)
    )
    until = session.scalar(history)
    if until is not None and at < until:
        raise RegisterError(
            f"{what} is dated {shown(at)}, and the history of engine {engine_id} before the logs "
            f"lasts until {shown(until)}: correct the history first, or it would count twice."
        )


def _settle(session: Session, row: RunRow, before: Mapping[str, Any]) -> None:
    if row.removed_at is None:
        _refuse_too_early(session, row.engine_id, row.started_at, f"The run {row.run_id}")
    row.ended_at = row.started_at + timedelta(seconds=row.duration_s)
    if before.keys() & {"engine_id", "read_as"}:
        row.judged_by = None
    if row.unlogged:
        _settle_unlogged(session, row)


def _settle_unlogged(session: Session, row: RunRow) -> None:
    same = select(RunRow.run_id).where(
        RunRow.engine_id == row.engine_id,
        RunRow.started_at == row.started_at,
        RunRow.unlogged.is_(True),
        RunRow.removed_at.is_(None),
        RunRow.run_id != row.run_id,
    )
    there = session.scalar(same) if row.removed_at is None else None
    if there is not None:
        raise RegisterError(
            f"The engine {row.engine_id} has unlogged running at {shown(row.started_at)} already "
            f"(run {there}): remove that first.",
            Remedy("remove_run", there),
        )
    session.merge(ExposureRow(run_id=row.run_id, running_s=row.duration_s))


RUN = Record(
    RunRow,
    about=("run_id", "engine_id", "started_at", "unlogged"),
    settle=_settle,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt run list",
    withdrawn="removed_at",
    derived=frozenset(
        {
            "ended_at",
            "start_basis",
            "samples",
            "source_name",
            "source_sha256",
            "dialect",
            "conversions",
            "warnings",
            "channels",
            "ingested_at",
            "judged_by",
            "doubts",
            "doubts_key",
        }
    ),
    recheck=refuse_overlap,
)
