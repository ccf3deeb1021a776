"""Tracked parts."""

from __future__ import annotations

import difflib
from typing import TypedDict, Unpack

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.damage_modes import part_named
from babbitt.model.part_records import PartRecord
from babbitt.register.journal.changes import Record, changing
from babbitt.register.records.part_calendar import settle_part
from babbitt.register.tables.part_models import PartRow

_LONGEST_ID = 64


class PartChange(TypedDict, total=False):
    """What may be corrected of a part."""

    kind: str
    note: str


def add_part(session: Session, part_id: str, kind: str, *, note: str = "") -> PartRecord:
    """Add a part to track; one that was withdrawn comes back.

    Args:
        session: of a writing transaction.
        part_id: its serial number, or the label of its batch; no other part's, in any case.
        kind: part of schemas/causes.toml.
        note: about it.

    Raises:
        RegisterError: there is such a part already, no such kind, or the id cannot be one.
    """
    if not (
        0 < len(part_id) <= _LONGEST_ID and part_id.isprintable() and part_id == part_id.strip()
    ):
        raise RegisterError(
            f"{part_id!r} cannot be a part's serial or batch: write 1 to {_LONGEST_ID} characters "
            "of one line, without blanks around them."
        )
    part_named(kind)
    _refuse_taken(session, part_id)
    row = session.get(PartRow, part_id)
    with changing(session, "part add") as act:
        if row is None:
            row = PartRow(part_id=part_id, kind=kind, note=note)
            act.create(PART, row)
        else:
            act.amend(PART, row, withdrawn_at=None, kind=kind, note=note)
    return to_part(row)


def amend_part(
    session: Session,
    part_id: str,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[PartChange],
) -> PartRecord:
    """Correct what is known of a part.

    Args:
        session: of a writing transaction.
        part_id: the part.
        seen: version of the part that the person looked at.
        reason: for the journal.
        **changes: see `PartChange`.

    Raises:
        RegisterError: no such part or kind, it was changed since, or it is fitted where a part of
            the new kind cannot be.
    """
    row = require_part(session, part_id)
    with changing(session, "part amend", reason) as act:
        act.amend(PART, row, seen=seen, **changes)
    return to_part(row)


def withdraw_part(
    session: Session, part_id: str, *, seen: int | None = None, reason: str = ""
) -> None:
    """Take a part out of the register that should not be in it.

    Args:
        session: of a writing transaction.
        part_id: the part.
        seen: version of the part that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such part, it was changed since, or it was fitted or out for work.
    """
    row = require_part(session, part_id)
    with changing(session, "part withdraw", reason) as act:
        act.withdraw(PART, row, seen=seen)


def find_part(session: Session, part_id: str) -> PartRecord:
    """Return a part.

    Raises:
        RegisterError: there is none; names the nearest.
    """
    return to_part(require_part(session, part_id))


def list_parts(session: Session, *, kind: str | None = None) -> tuple[PartRecord, ...]:
    """Return the parts in the order of their kinds, then of their ids.

    Args:
        session: of a transaction.
        kind: only those of this kind.

    Raises:
        RegisterError: no such kind; names the nearest.
    """
    query = select(PartRow).where(PartRow.withdrawn_at.is_(None))
    if kind is not None:
        query = query.where(PartRow.kind == part_named(kind).name)
    rows = session.scalars(query.order_by(PartRow.kind, PartRow.part_id))
    return tuple(to_part(row) for row in rows)


def require_part(session: Session, part_id: str) -> PartRow:
    """Return the row of a part.

    Raises:
        RegisterError: no such part; names the nearest.
    """
    row = session.get(PartRow, part_id)
    if row is not None and row.withdrawn_at is None:
        return row
    query = select(PartRow.part_id).where(PartRow.withdrawn_at.is_(None)).order_by(PartRow.part_id)
    folded = {name.casefold(): name for name in session.scalars(query)}
    close = difflib.get_close_matches(part_id.casefold(), folded, n=1)
    hint = f"did you mean {folded[close[0]]}?" if close else "add it first."
    raise RegisterError(f"There is no part {part_id!r}: {hint}", Remedy("add_part", part_id))


def to_part(row: PartRow) -> PartRecord:
    """Return what a row of the table says."""
    return PartRecord(row.part_id, row.kind, row.note, row.version)


def _refuse_taken(session: Session, part_id: str) -> None:
    """Refuse an id that another part has, in any case of its letters."""
    # The database's lower() may leave letters beyond ASCII alone: the id itself is asked for too.
    same = or_(PartRow.part_id == part_id, func.lower(PartRow.part_id) == part_id.lower())
    query = select(PartRow).where(same, PartRow.withdrawn_at.is_(None))
    taken = session.scalars(query.limit(1)).first()
    if taken is not None:
        raise RegisterError(f"There is a {taken.kind} {taken.part_id} already: nothing to add.")


PART = Record(
    PartRow,
    about=("part_id", "kind"),
    settle=settle_part,
    engine_of=lambda _session, _row: None,
    listed_by="babbitt part list",
)
