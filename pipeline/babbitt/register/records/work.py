"""Parts out of the house for work: sent out, due back, taken back."""

from __future__ import annotations

from datetime import datetime
from typing import TypedDict, Unpack

from sqlalchemy import select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.part_records import WorkRecord
from babbitt.register.journal.changes import Record, changing, require
from babbitt.register.records.part_calendar import settle_work
from babbitt.register.records.parts import require_part
from babbitt.register.tables.part_models import WorkRow


class WorkChange(TypedDict, total=False):
    """What may be corrected of work outside."""

    shop: str
    what: str
    since: datetime
    due: datetime | None
    back_at: datetime | None
    result: str


def send_out(
    session: Session,
    part_id: str,
    *,
    shop: str,
    what: str,
    since: datetime,
    due: datetime | None = None,
    back_at: datetime | None = None,
    result: str = "",
    reason: str = "",
) -> WorkRecord:
    """Write down that a part went out for work.

    Args:
        session: of a writing transaction.
        part_id: the part.
        shop: where it went.
        what: is to be done.
        since: when it left.
        due: when it is promised back; None: no date was named.
        back_at: when it came back; None: it is still out.
        result: what was done and found, where it is back.
        reason: for the journal.

    Raises:
        RegisterError: no such part; it is in an engine or out already; or the times cannot be.
    """
    require_part(session, part_id)
    row = WorkRow(
        part_id=part_id,
        shop=shop,
        what=what,
        since=since,
        due=due,
        back_at=back_at,
        result=result,
    )
    with changing(session, "part send", reason) as act:
        act.create(WORK, row)
    return to_work(row)


def take_back(
    session: Session, part_id: str, *, at: datetime, result: str, reason: str = ""
) -> WorkRecord:
    """Write down that a part came back from work.

    Args:
        session: of a writing transaction.
        part_id: the part.
        at: when.
        result: what was done and found.
        reason: for the journal.

    Raises:
        RegisterError: no such part, it is not out, or it left later than that.
    """
    require_part(session, part_id)
    out = select(WorkRow).where(
        WorkRow.part_id == part_id, WorkRow.back_at.is_(None), WorkRow.withdrawn_at.is_(None)
    )
    row = session.scalars(out).first()
    if row is None:
        raise RegisterError(f"The part {part_id} is not out for work: nothing to take back.")
    with changing(session, "part back", reason) as act:
        act.amend(WORK, row, back_at=at, result=result)
    return to_work(row)


def amend_work(
    session: Session,
    work_id: int,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[WorkChange],
) -> WorkRecord:
    """Correct what is known of work outside.

    Args:
        session: of a writing transaction.
        work_id: the work.
        seen: its version that the person looked at.
        reason: for the journal.
        **changes: see `WorkChange`.

    Raises:
        RegisterError: no such work, it was changed since, or the times cannot be.
    """
    row = require(session, WORK, work_id)
    with changing(session, "part amend", reason) as act:
        act.amend(WORK, row, seen=seen, **changes)
    return to_work(row)


def withdraw_work(
    session: Session, work_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw work that never was.

    Args:
        session: of a writing transaction.
        work_id: the work.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such work, or it was changed since.
    """
    row = require(session, WORK, work_id)
    with changing(session, "part withdraw", reason) as act:
        act.withdraw(WORK, row, seen=seen)


def list_work(session: Session, *, part_id: str | None = None) -> tuple[WorkRecord, ...]:
    """Return work outside in the order of its beginning.

    Args:
        session: of a transaction.
        part_id: only that on this part.

    Raises:
        RegisterError: no such part.
    """
    query = select(WorkRow).where(WorkRow.withdrawn_at.is_(None))
    if part_id is not None:
        query = query.where(WorkRow.part_id == require_part(session, part_id).part_id)
    rows = session.scalars(query.order_by(WorkRow.since, WorkRow.id))
    return tuple(to_work(row) for row in rows)


def to_work(row: WorkRow) -> WorkRecord:
    """Return what a row of the table says."""
    return WorkRecord(
        work_id=row.id,
        part_id=row.part_id,
        shop=row.shop,
        what=row.what,
        since=row.since,
        due=row.due,
        back_at=row.back_at,
        result=row.result,
        version=row.version,
    )


WORK = Record(
    WorkRow,
    about=("part_id", "shop"),
    settle=settle_work,
    engine_of=lambda _session, _row: None,
    listed_by="babbitt journal",
)
