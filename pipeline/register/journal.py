"""The journal: every change that a person makes, with what was there before."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline.register.models import JournalRow
from pipeline.register.values import JournalEntry


def write_down(
    session: Session, action: str, engine_id: str | None, what: dict[str, Any], reason: str = ""
) -> None:
    """Add a change to the journal, under the name that the session writes for.

    Args:
        session: of a writing transaction; the entry is kept with the change or not at all.
        action: what was done, in the words of the command line.
        engine_id: the engine concerned.
        what: the record's id, and its values before and after, as JSON.
        reason: as the person gave it.
    """
    session.add(
        JournalRow(
            at=datetime.now(UTC),
            who=session.info["who"],
            engine_id=engine_id,
            action=action,
            what=what,
            reason=reason,
        )
    )


def journal(
    session: Session, *, engine_id: str | None = None, limit: int | None = None
) -> tuple[JournalEntry, ...]:
    """Return the changes made, newest first.

    Args:
        session: of a transaction.
        engine_id: only those of this engine.
        limit: at most so many.
    """
    query = select(JournalRow).order_by(JournalRow.id.desc()).limit(limit)
    if engine_id is not None:
        query = query.where(JournalRow.engine_id == engine_id)
    return tuple(
        JournalEntry(row.at, row.who, row.engine_id, row.action, row.what, row.reason)
        for row in session.scalars(query)
    )


def as_text(instant: datetime | None) -> str | None:
    """Return an instant as the journal writes it: ISO 8601, UTC."""
    return None if instant is None else instant.astimezone(UTC).isoformat()
