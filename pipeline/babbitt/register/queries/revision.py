"""Tells one state of the record from another, so that what follows from it is worked out once."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from babbitt.register.tables.models import EngineRow, JournalRow, RefreshRow, RunRow, SurfaceRow
from babbitt.register.tables.part_models import FitmentRow, HistoryRow, TeardownRow

Revision = tuple[tuple[Any, ...], ...]

_DATED: tuple[InstrumentedAttribute[Any], ...] = (
    EngineRow.built_at,
    RefreshRow.at,
    RunRow.started_at,
    FitmentRow.since,
    FitmentRow.until,
    TeardownRow.at,
    HistoryRow.until,
)
"""When records begin or end to count."""


def revision(session: Session, at: datetime) -> Revision:
    """Return what tells the record, as it stands at an instant, from any other state of it.

    Whatever a person changes is in the journal. What the program does of itself is to take runs in,
    and to judge them and their sensors by keys that name what they were judged by. A record may be
    dated ahead: it begins to count without anybody changing it.

    Args:
        session: of a transaction.
        at: UTC, when; what is dated later does not count yet.

    Returns:
        Equal for equal states; three queries.
    """
    reached = [select(func.count()).where(column <= at).scalar_subquery() for column in _DATED]
    journal = select(func.max(JournalRow.id)).scalar_subquery()
    kinds = (RunRow.engine_id, RunRow.judged_by, RunRow.doubts_key)
    newest = func.max(RunRow.ingested_at)
    runs = select(*kinds, func.count(), newest).group_by(*kinds).order_by(*kinds)
    surfaces = select(SurfaceRow.engine_id, SurfaceRow.build, SurfaceRow.key).order_by(
        SurfaceRow.engine_id, SurfaceRow.build
    )
    return (
        tuple(session.execute(select(journal, *reached)).one()),
        *(tuple(row) for row in session.execute(runs)),
        *(tuple(row) for row in session.execute(surfaces)),
    )
