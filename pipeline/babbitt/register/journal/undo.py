"""Taking back what people did, newest first, and taking that back again.

`undo` reverts the newest act that still holds; `redo` reverts the newest undo that still holds, so
that undos are taken back in the reverse of their order. Either is written down as an act that names
the one it reverts, and nothing is erased. An act that no longer holds is passed over.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import inspect
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.records import Change, JournalEntry
from babbitt.register.journal.changes import Record, by_name, changing, from_json, to_json
from babbitt.register.journal.entries import changes_since, find_entry, journal, newest_holding
from babbitt.register.journal.fields import sentence, shown
from babbitt.register.records.alterations import CHANGE
from babbitt.register.records.builds import REFRESH
from babbitt.register.records.engines import ENGINE, ENGINE_SPEC
from babbitt.register.records.events import REVIEW
from babbitt.register.records.fitments import FITMENT
from babbitt.register.records.history import HISTORY
from babbitt.register.records.layouts import CORNER_NAME
from babbitt.register.records.parts import PART
from babbitt.register.records.runs import RUN
from babbitt.register.records.sheets import BUILT_MEASUREMENT, SHEET_LINE
from babbitt.register.records.teardowns import FINDING, TEARDOWN
from babbitt.register.records.work import WORK

RECORDS = {
    record.name: record
    for record in (
        ENGINE,
        ENGINE_SPEC,
        REFRESH,
        RUN,
        REVIEW,
        PART,
        FITMENT,
        WORK,
        HISTORY,
        SHEET_LINE,
        BUILT_MEASUREMENT,
        TEARDOWN,
        FINDING,
        CORNER_NAME,
        CHANGE,
    )
}
"""Every sort of record that people change, by its name in the journal."""


def next_undo(session: Session, *, engine_id: str | None = None) -> JournalEntry | None:
    """Return the act that `undo` would revert; None where there is none."""
    return newest_holding(session, undoing=False, engine_id=engine_id)


def next_redo(session: Session, *, engine_id: str | None = None) -> JournalEntry | None:
    """Return the undo that `redo` would revert; None where there is none."""
    return newest_holding(session, undoing=True, engine_id=engine_id)


def undo(
    session: Session,
    *,
    engine_id: str | None = None,
    entry_id: int | None = None,
    reason: str = "",
) -> JournalEntry:
    """Revert the newest act that holds, or the one that is named.

    A run that goes back to another engine, and a refresh that moves, leave runs to be judged anew.

    Args:
        session: of a writing transaction.
        engine_id: the newest act that concerns this engine; None: of all.
        entry_id: number of the act; None: the newest.
        reason: for the journal.

    Returns:
        The entry that tells of it.

    Raises:
        RegisterError: there is none; a record was changed since; or one would break a rule.
    """
    if entry_id is not None:
        return _revert(session, _named(session, entry_id), "undo", reason)
    entry = next_undo(session, engine_id=engine_id)
    if entry is None:
        raise RegisterError(f"There is nothing to undo{_of(engine_id)}.")
    return _revert(session, entry, "undo", reason)


def redo(session: Session, *, engine_id: str | None = None, reason: str = "") -> JournalEntry:
    """Revert the newest undo that holds: what it took back is done again.

    Args:
        session: of a writing transaction.
        engine_id: the newest undo that concerns this engine; None: of all.
        reason: for the journal.

    Returns:
        The entry that tells of it.

    Raises:
        RegisterError: there is none; a record was changed since; or one would break a rule.
    """
    entry = next_redo(session, engine_id=engine_id)
    if entry is None:
        raise RegisterError(f"There is no undo to take back{_of(engine_id)}.")
    return _revert(session, entry, "redo", reason)


def _named(session: Session, entry_id: int) -> JournalEntry:
    entry = find_entry(session, entry_id)
    if entry is None:
        raise RegisterError(
            f"The journal has no entry {entry_id}: look its number up.", Remedy("list_journal")
        )
    if entry.undoes is not None:
        raise RegisterError(f"The entry {entry_id} took back no. {entry.undoes} itself: redo it.")
    if entry.undone:
        raise RegisterError(f"The entry {entry_id} was undone already.")
    if any(change.after is None for change in entry.changes):
        raise RegisterError(
            f"The entry {entry_id} cannot be undone: what was there before was not kept."
        )
    return entry


def _revert(session: Session, entry: JournalEntry, action: str, reason: str) -> JournalEntry:
    with changing(session, action, reason, undoes=entry.entry_id) as act:
        for change in reversed(entry.changes):
            record = RECORDS[change.record]
            row = session.get_one(record.row, _key(record, change.record_id))
            _refuse_changed(session, record, row, change)
            if change.before is None:
                act.withdraw(record, row)
            else:
                act.amend(record, row, **from_json(record, change.before))
            record.recheck(session, row)
    (written,) = journal(session, limit=1)
    return written


def _key(record: Record, record_id: str) -> int | str:
    (column,) = inspect(record.row).primary_key
    return int(record_id) if column.type.python_type is int else record_id


def _refuse_changed(session: Session, record: Record, row: Any, change: Change) -> None:
    """Refuse to revert what is no longer as the act left it."""
    left = change.after or {}
    if to_json({name: getattr(row, name) for name in left}) == left:
        return
    later = changes_since(session, record.name, change.record_id, change.version)
    told = "; ".join(f"{entry.who} {sentence(entry)} ({shown(entry.at)})" for entry in later)
    name = by_name(record, row)
    raise RegisterError(
        f"{name[0].upper()}{name[1:]} was changed since ({told}): correct it by hand, or undo an "
        "act before by its number in the journal."
    )


def _of(engine_id: str | None) -> str:
    return "" if engine_id is None else f" of engine {engine_id}"
