"""Where each part is."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from babbitt.model.part_records import PartPlace
from babbitt.register.records.fitments import to_fitment
from babbitt.register.records.parts import to_part
from babbitt.register.records.work import to_work
from babbitt.register.tables.part_models import FitmentRow, PartRow, WorkRow


def where_now(session: Session, *, at: datetime | None = None) -> tuple[PartPlace, ...]:
    """Return where every part is, in the order of their kinds, then of their ids; one query.

    Args:
        session: of a transaction.
        at: as it stood then; None: as last written down.
    """
    query = (
        select(PartRow, FitmentRow, WorkRow)
        .outerjoin(FitmentRow, _holds(FitmentRow, FitmentRow.until, at))
        .outerjoin(WorkRow, _holds(WorkRow, WorkRow.back_at, at))
        .where(PartRow.withdrawn_at.is_(None))
        .order_by(PartRow.kind, PartRow.part_id)
    )
    return tuple(
        PartPlace(
            part=to_part(part),
            fitment=None if fitment is None else to_fitment(fitment, part.kind),
            work=None if work is None else to_work(work),
        )
        for part, fitment, work in session.execute(query)
    )


def _holds(table: type[Any], until: Any, at: datetime | None) -> ColumnElement[bool]:
    """Return the condition under which a span of a part holds at an instant; None: has no end."""
    ends_later = until.is_(None)
    if at is not None:
        ends_later = and_(table.since <= at, or_(ends_later, until > at))
    return and_(table.part_id == PartRow.part_id, table.withdrawn_at.is_(None), ends_later)
