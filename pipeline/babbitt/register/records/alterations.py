"""Changes: dated alterations of an engine or its car."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.records import SORTS_OF_CHANGE, ChangeRecord
from babbitt.register.journal.changes import Record, changing, require
from babbitt.register.records.engines import require_engine
from babbitt.register.tables.models import ChangeRow


def record_change(
    session: Session, engine_id: str, *, at: datetime, sort: str, what: str, reason: str = ""
) -> ChangeRecord:
    """Write down that an engine or its car was altered.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        at: when; runs that began then or later are after it.
        sort: one of SORTS_OF_CHANGE.
        what: in words, like "baffle in the sump".
        reason: for the journal.

    Raises:
        RegisterError: no such engine or sort of change, or nothing says what was changed.
    """
    require_engine(session, engine_id)
    if sort not in SORTS_OF_CHANGE:
        raise RegisterError(
            f"{sort!r} is no sort of change: it is one of {', '.join(SORTS_OF_CHANGE)}."
        )
    if not what.strip():
        raise RegisterError("Say in a few words what was changed.")
    row = ChangeRow(engine_id=engine_id, at=at, sort=sort, what=what.strip())
    with changing(session, "change record", reason) as act:
        act.create(CHANGE, row)
    return _to_record(row)


def find_change(session: Session, change_id: int) -> ChangeRecord:
    """Return a change by its number.

    Raises:
        RegisterError: there is none.
    """
    return _to_record(require(session, CHANGE, change_id))


def list_changes(session: Session, engine_id: str | None = None) -> tuple[ChangeRecord, ...]:
    """Return changes in the order of their dates; withdrawn ones are out.

    Raises:
        RegisterError: no such engine.
    """
    query = select(ChangeRow).where(ChangeRow.withdrawn_at.is_(None))
    if engine_id is not None:
        require_engine(session, engine_id)
        query = query.where(ChangeRow.engine_id == engine_id)
    rows = session.scalars(query.order_by(ChangeRow.at, ChangeRow.id))
    return tuple(map(_to_record, rows))


def _to_record(row: ChangeRow) -> ChangeRecord:
    return ChangeRecord(row.id, row.engine_id, row.at, row.sort, row.what)


CHANGE = Record(
    ChangeRow,
    about=("engine_id", "sort", "what"),
    settle=lambda _session, _row, _before: None,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt change list",
)
