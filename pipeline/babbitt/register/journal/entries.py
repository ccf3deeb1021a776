"""The journal: every change that a person makes, with what was there before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, Select, exists, select
from sqlalchemy.orm import Session

from babbitt.model.records import Change, JournalEntry
from babbitt.register.tables.models import (
    LARGEST_ID,
    JournalChangeRow,
    JournalEngineRow,
    JournalRow,
)


def write_down(
    session: Session,
    action: str,
    changes: Sequence[Change],
    engine_ids: Collection[str],
    *,
    reason: str = "",
    undoes: int | None = None,
) -> None:
    """Add an act to the journal, under the name that the session writes for.

    Args:
        session: of a writing transaction; the entry is kept with the changes or not at all.
        action: what was done, in the words of the command line.
        changes: to the records, in their order.
        engine_ids: the engines concerned.
        reason: as the person gave it.
        undoes: number of the entry that the act reverts.
    """
    entry = JournalRow(
        at=datetime.now(UTC),
        who=session.info["who"],
        action=action,
        reason=reason,
        undoes=undoes,
    )
    session.add(entry)
    session.flush()
    session.add_all(
        JournalChangeRow(
            journal_id=entry.id,
            place=place,
            record=change.record,
            record_id=change.record_id,
            version=change.version,
            about=change.about,
            before=change.before,
            after=change.after,
        )
        for place, change in enumerate(changes)
    )
    session.add_all(
        JournalEngineRow(engine_id=engine_id, journal_id=entry.id)
        for engine_id in sorted(engine_ids)
    )
    session.flush()


def journal(
    session: Session, *, engine_id: str | None = None, limit: int | None = None
) -> tuple[JournalEntry, ...]:
    """Return the acts of people, newest first; four queries, however many they are.

    Args:
        session: of a transaction.
        engine_id: only those that concern this engine.
        limit: at most so many.
    """
    query = select(JournalRow).order_by(JournalRow.id.desc()).limit(limit)
    if engine_id is not None:
        query = query.where(_concerns(engine_id))
    return _entries(session, query)


def find_entry(session: Session, entry_id: int) -> JournalEntry | None:
    """Return an entry of the journal by its number; None where there is none."""
    if not 0 < entry_id <= LARGEST_ID:
        return None
    found = _entries(session, select(JournalRow).where(JournalRow.id == entry_id))
    return found[0] if found else None


def changes_since(
    session: Session, record: str, record_id: str, version: int
) -> tuple[JournalEntry, ...]:
    """Return the acts that changed a record after it had a version, newest first."""
    later = exists().where(
        JournalChangeRow.journal_id == JournalRow.id,
        JournalChangeRow.record == record,
        JournalChangeRow.record_id == record_id,
        JournalChangeRow.version > version,
    )
    return _entries(session, select(JournalRow).where(later).order_by(JournalRow.id.desc()))


def newest_holding(
    session: Session, *, undoing: bool, engine_id: str | None = None
) -> JournalEntry | None:
    """Return the newest act that no later one reverts and that can be reverted; None without.

    Args:
        session: of a transaction.
        undoing: among the acts that revert another, rather than among those of their own.
        engine_id: only among those that concern this engine.
    """
    query = select(JournalRow.id).where(
        exists().where(JournalChangeRow.journal_id == JournalRow.id),
        ~exists().where(
            JournalChangeRow.journal_id == JournalRow.id, JournalChangeRow.after.is_(None)
        ),
    )
    if engine_id is not None:
        query = query.where(_concerns(engine_id))
    own = select(JournalRow.id).where(JournalRow.undoes.is_(None))
    query = query.where(JournalRow.undoes.in_(own) if undoing else JournalRow.undoes.is_(None))
    undone = _undone(session)
    newest_first = session.scalars(query.order_by(JournalRow.id.desc()))
    found = next((entry_id for entry_id in newest_first if entry_id not in undone), None)
    return None if found is None else find_entry(session, found)


def as_text(instant: datetime | None) -> str | None:
    """Return an instant as the journal writes it: ISO 8601, UTC."""
    return None if instant is None else instant.astimezone(UTC).isoformat()


def _concerns(engine_id: str) -> ColumnElement[bool]:
    return exists().where(
        JournalEngineRow.journal_id == JournalRow.id, JournalEngineRow.engine_id == engine_id
    )


def _undone(session: Session) -> set[int | None]:
    """Return the numbers of the entries that a later one reverts, which itself holds."""
    query = select(JournalRow.id, JournalRow.undoes).where(JournalRow.undoes.is_not(None))
    undone: set[int | None] = set()
    for entry_id, undoes in session.execute(query.order_by(JournalRow.id.desc())):
        if entry_id not in undone:
            undone.add(undoes)
    return undone


def _entries(session: Session, query: Select[JournalRow]) -> tuple[JournalEntry, ...]:
    """Return the entries that a query selects, in its order."""
    wanted = query.with_only_columns(JournalRow.id)
    changes: dict[int, list[Change]] = defaultdict(list)
    changed = select(JournalChangeRow).where(JournalChangeRow.journal_id.in_(wanted))
    for each in session.scalars(changed.order_by(JournalChangeRow.place)):
        changes[each.journal_id].append(
            Change(each.record, each.record_id, each.about, each.before, each.after, each.version)
        )
    engine_ids: dict[int, list[str]] = defaultdict(list)
    concerned = select(JournalEngineRow).where(JournalEngineRow.journal_id.in_(wanted))
    for link in session.scalars(concerned.order_by(JournalEngineRow.engine_id)):
        engine_ids[link.journal_id].append(link.engine_id)
    undone = _undone(session)
    return tuple(
        JournalEntry(
            entry_id=row.id,
            at=row.at,
            who=row.who,
            engine_ids=tuple(engine_ids[row.id]),
            action=row.action,
            changes=tuple(changes[row.id]),
            reason=row.reason,
            undoes=row.undoes,
            undone=row.id in undone,
        )
        for row in session.scalars(query)
    )
