"""Running from before the logs, of an engine or of a part.

It counts where it ends: in the build of the engine that its end lies in, and for every part that
was in the engine then. It ends before the engine's first run, and a part's own before the part was
first fitted, so that nothing counts twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypedDict, Unpack

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.part_records import HistoryRecord
from babbitt.register.journal.changes import Record, changing, require
from babbitt.register.journal.fields import shown
from babbitt.register.records.engines import refuse_before_built, require_engine
from babbitt.register.records.parts import require_part
from babbitt.register.tables.models import RunRow
from babbitt.register.tables.part_models import FitmentRow, HistoryRow


class HistoryChange(TypedDict, total=False):
    """What may be corrected of a history."""

    running_s: float
    revolutions: float | None
    until: datetime
    note: str


def add_engine_history(
    session: Session,
    engine_id: str,
    *,
    running_s: float,
    until: datetime,
    revolutions: float | None = None,
    note: str = "",
) -> HistoryRecord:
    """Add what an engine ran before its first log, in the build that this ended in.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        running_s: how long it ran.
        until: by when all of it was over.
        revolutions: of the crankshaft; None: unknown.
        note: where the figure comes from.

    Raises:
        RegisterError: no such engine, a figure or time that cannot be, the same history twice, or
            the engine has a log from before then.
    """
    require_engine(session, engine_id)
    return _add(session, engine_id, None, running_s, until, revolutions, note)


def add_part_history(
    session: Session,
    part_id: str,
    *,
    running_s: float,
    until: datetime,
    revolutions: float | None = None,
    note: str = "",
) -> HistoryRecord:
    """Add what a part ran before it was first fitted to an engine of the register.

    Args:
        session: of a writing transaction.
        part_id: the part.
        running_s: how long it ran.
        until: by when all of it was over.
        revolutions: of the crankshaft; None: unknown.
        note: where the figure comes from.

    Raises:
        RegisterError: no such part, a figure that cannot be, the same history twice, or the part
            was fitted before then.
    """
    require_part(session, part_id)
    return _add(session, None, part_id, running_s, until, revolutions, note)


def amend_history(
    session: Session,
    history_id: int,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[HistoryChange],
) -> HistoryRecord:
    """Correct a history.

    Args:
        session: of a writing transaction.
        history_id: the history.
        seen: its version that the person looked at.
        reason: for the journal.
        **changes: see `HistoryChange`.

    Raises:
        RegisterError: no such history, it was changed since, or it cannot be so.
    """
    row = require(session, HISTORY, history_id)
    with changing(session, "history amend", reason) as act:
        act.amend(HISTORY, row, seen=seen, **changes)
    return to_history(row)


def withdraw_history(
    session: Session, history_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a history.

    Args:
        session: of a writing transaction.
        history_id: the history.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such history, or it was changed since.
    """
    row = require(session, HISTORY, history_id)
    with changing(session, "history withdraw", reason) as act:
        act.withdraw(HISTORY, row, seen=seen)


def list_history(session: Session) -> tuple[HistoryRecord, ...]:
    """Return every history, in the order of its end."""
    query = select(HistoryRow).where(HistoryRow.withdrawn_at.is_(None))
    return tuple(
        to_history(row) for row in session.scalars(query.order_by(HistoryRow.until, HistoryRow.id))
    )


def to_history(row: HistoryRow) -> HistoryRecord:
    """Return what a row of the table says."""
    return HistoryRecord(
        history_id=row.id,
        engine_id=row.engine_id,
        part_id=row.part_id,
        running_s=row.running_s,
        revolutions=row.revolutions,
        until=row.until,
        note=row.note,
        version=row.version,
    )


def _add(
    session: Session,
    engine_id: str | None,
    part_id: str | None,
    running_s: float,
    until: datetime,
    revolutions: float | None,
    note: str,
) -> HistoryRecord:
    row = HistoryRow(
        engine_id=engine_id,
        part_id=part_id,
        running_s=running_s,
        revolutions=revolutions,
        until=until,
        note=note,
    )
    with changing(session, "history add") as act:
        act.create(HISTORY, row)
    return to_history(row)


def _settle(session: Session, row: HistoryRow, _before: Mapping[str, Any]) -> None:
    if row.withdrawn_at is not None:
        return
    subject = f"engine {row.engine_id}" if row.part_id is None else f"part {row.part_id}"
    for value, unit in ((row.running_s, "seconds"), (row.revolutions, "revolutions")):
        if value is not None and value <= 0.0:
            raise RegisterError(
                f"{value:g} {unit} cannot be the history of {subject}: give a number above 0."
            )
    same = select(HistoryRow.id).where(
        HistoryRow.engine_id.is_not_distinct_from(row.engine_id),
        HistoryRow.part_id.is_not_distinct_from(row.part_id),
        HistoryRow.until == row.until,
        HistoryRow.id != row.id,
        HistoryRow.withdrawn_at.is_(None),
    )
    if session.scalar(same) is not None:
        raise RegisterError(
            f"The {subject} has a history until {shown(row.until)} already: correct that one."
        )
    if row.engine_id is not None:
        refuse_before_built(session, row.engine_id, row.until, f"The history of {subject}")
        counted = select(func.min(RunRow.started_at)).where(
            RunRow.engine_id == row.engine_id, RunRow.removed_at.is_(None)
        )
        first = session.scalar(counted)
        advice = "what no logger saw since then is unlogged running"
    else:
        fitted = select(func.min(FitmentRow.since)).where(
            FitmentRow.part_id == row.part_id, FitmentRow.withdrawn_at.is_(None)
        )
        first = session.scalar(fitted)
        advice = "what it ran since then is its engine's"
    if first is not None and row.until > first:
        raise RegisterError(
            f"The history of {subject} lasts until {shown(row.until)}, but its record here begins "
            f"at {shown(first)}: {advice}."
        )


HISTORY = Record(
    HistoryRow,
    about=("engine_id", "part_id"),
    settle=_settle,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt journal",
)
