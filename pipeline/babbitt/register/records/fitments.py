"""Fitting parts to engines and removing them."""

from __future__ import annotations

from datetime import datetime
from typing import TypedDict, Unpack

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.part_records import FitmentRecord
from babbitt.register.journal.changes import Act, Record, changing, require
from babbitt.register.records.engines import require_engine
from babbitt.register.records.part_calendar import settle_fitment
from babbitt.register.records.parts import require_part
from babbitt.register.tables.part_models import FitmentRow, PartRow


class FitmentChange(TypedDict, total=False):
    """What may be corrected of a fitment."""

    engine_id: str
    position: str | None
    since: datetime
    until: datetime | None


def fit_part(
    session: Session,
    part_id: str,
    engine_id: str,
    *,
    at: datetime,
    position: str | None = None,
    until: datetime | None = None,
    replacing: bool = False,
    reason: str = "",
) -> FitmentRecord:
    """Fit a part to an engine.

    Args:
        session: of a writing transaction.
        part_id: the part.
        engine_id: the engine.
        at: when.
        position: cylinder, journal or side; None: the only one of its kind, or a set that takes
            every position.
        until: when it was removed again; None: it is still in.
        replacing: the part that is in its place then goes out at that moment.
        reason: for the journal.

    Raises:
        RegisterError: no such part, engine or position; the part is elsewhere or out for work; its
            place is taken; or the time cannot be.
    """
    part = require_part(session, part_id)
    require_engine(session, engine_id)
    with changing(session, "part fit", reason) as act:
        row = put_in(
            session, act, part_id, engine_id, position, at, until=until, replacing=replacing
        )
    return to_fitment(row, part.kind)


def remove_part(session: Session, part_id: str, *, at: datetime, reason: str = "") -> FitmentRecord:
    """Remove a part from the engine that it is in.

    Args:
        session: of a writing transaction.
        part_id: the part.
        at: when.
        reason: for the journal.

    Raises:
        RegisterError: no such part, or it is in no engine then.
    """
    part = require_part(session, part_id)
    query = select(FitmentRow).where(
        FitmentRow.part_id == part_id,
        FitmentRow.until.is_(None),
        FitmentRow.withdrawn_at.is_(None),
    )
    row = session.scalars(query).first()
    if row is None:
        raise RegisterError(
            f"The part {part_id} is in no engine: fit it first.", Remedy("fit_part", part_id)
        )
    with changing(session, "part remove", reason) as act:
        act.amend(FITMENT, row, until=at)
    return to_fitment(row, part.kind)


def amend_fitment(
    session: Session,
    fitment_id: int,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[FitmentChange],
) -> FitmentRecord:
    """Correct where and when a part was fitted.

    Args:
        session: of a writing transaction.
        fitment_id: the fitment.
        seen: its version that the person looked at.
        reason: for the journal.
        **changes: see `FitmentChange`.

    Raises:
        RegisterError: no such fitment, it was changed since, or it cannot have been so.
    """
    row = require(session, FITMENT, fitment_id)
    with changing(session, "part amend", reason) as act:
        act.amend(FITMENT, row, seen=seen, **changes)
    return to_fitment(row, session.get_one(PartRow, row.part_id).kind)


def withdraw_fitment(
    session: Session, fitment_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a fitment that never was.

    Args:
        session: of a writing transaction.
        fitment_id: the fitment.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such fitment, or it was changed since.
    """
    row = require(session, FITMENT, fitment_id)
    with changing(session, "part withdraw", reason) as act:
        act.withdraw(FITMENT, row, seen=seen)


def list_fitments(
    session: Session, *, part_id: str | None = None, engine_id: str | None = None
) -> tuple[FitmentRecord, ...]:
    """Return fitments in the order of their beginning.

    Args:
        session: of a transaction.
        part_id: only those of this part.
        engine_id: only those in this engine.

    Raises:
        RegisterError: no such part or engine.
    """
    query = (
        select(FitmentRow, PartRow.kind)
        .join(PartRow, PartRow.part_id == FitmentRow.part_id)
        .where(FitmentRow.withdrawn_at.is_(None))
    )
    if part_id is not None:
        query = query.where(FitmentRow.part_id == require_part(session, part_id).part_id)
    if engine_id is not None:
        query = query.where(FitmentRow.engine_id == require_engine(session, engine_id).engine_id)
    query = query.order_by(FitmentRow.since, FitmentRow.id)
    return tuple(to_fitment(row, kind) for row, kind in session.execute(query))


def put_in(
    session: Session,
    act: Act,
    part_id: str,
    engine_id: str,
    position: str | None,
    at: datetime,
    *,
    until: datetime | None = None,
    replacing: bool,
) -> FitmentRow:
    """Fit a part within an act; see `fit_part`."""
    if replacing:
        kind = session.get_one(PartRow, part_id).kind
        there = (
            select(FitmentRow)
            .join(PartRow, PartRow.part_id == FitmentRow.part_id)
            .where(
                PartRow.kind == kind,
                FitmentRow.part_id != part_id,
                FitmentRow.engine_id == engine_id,
                *([] if position is None else [_covers(position)]),
                *_holds(at),
            )
        )
        for row in session.scalars(there).all():
            act.amend(FITMENT, row, until=at)
    row = FitmentRow(part_id=part_id, engine_id=engine_id, position=position, since=at, until=until)
    act.create(FITMENT, row)
    return row


def is_in(
    session: Session, part_id: str, engine_id: str, position: str | None, at: datetime
) -> bool:
    """Tell whether a part sits at a position of an engine, from an instant on at the latest."""
    query = select(FitmentRow.id).where(
        FitmentRow.part_id == part_id,
        FitmentRow.engine_id == engine_id,
        _covers(position),
        *_holds(at),
    )
    return session.scalar(query) is not None


def was_in(
    fitment: FitmentRecord, engine_id: str, kind: str, position: str | None, at: datetime
) -> bool:
    """Tell whether a fitment put a part of a kind where a teardown found it.

    What goes out at the instant of the teardown was still in; what goes in then was not yet.

    Args:
        fitment: of any part.
        engine_id: the engine that was taken apart.
        kind: of the part that was looked at.
        position: where; None: everywhere.
        at: when.
    """
    return (
        fitment.engine_id == engine_id
        and fitment.kind == kind
        and (None in (fitment.position, position) or fitment.position == position)
        and fitment.since < at
        and (fitment.until is None or fitment.until >= at)
    )


def move_with_refresh(
    session: Session, act: Act, engine_id: str, was: datetime, now: datetime
) -> None:
    """Move what was fitted to and removed from an engine at a refresh to where it moved to."""
    query = select(FitmentRow).where(
        FitmentRow.engine_id == engine_id,
        or_(FitmentRow.since == was, FitmentRow.until == was),
        FitmentRow.withdrawn_at.is_(None),
    )
    for row in session.scalars(query.order_by(FitmentRow.id)).all():
        since = now if row.since == was else row.since
        until = now if row.until == was else row.until
        act.amend(FITMENT, row, since=since, until=until)


def to_fitment(row: FitmentRow, kind: str) -> FitmentRecord:
    """Return what a row of the table says, and the kind of its part."""
    return FitmentRecord(
        fitment_id=row.id,
        part_id=row.part_id,
        kind=kind,
        engine_id=row.engine_id,
        position=row.position,
        since=row.since,
        until=row.until,
        version=row.version,
    )


def _covers(position: str | None) -> ColumnElement[bool]:
    """Return the condition under which a fitment is at a position; a set is at every one."""
    return or_(FitmentRow.position.is_(None), FitmentRow.position == position)


def _holds(at: datetime) -> list[ColumnElement[bool]]:
    """Return the conditions under which a fitment holds at an instant."""
    return [
        FitmentRow.since <= at,
        or_(FitmentRow.until.is_(None), FitmentRow.until > at),
        FitmentRow.withdrawn_at.is_(None),
    ]


FITMENT = Record(
    FitmentRow,
    about=("part_id", "engine_id", "position"),
    settle=settle_fitment,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt journal",
)
