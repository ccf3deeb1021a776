"""The rules of the parts' calendar: no part in two places, no two parts in one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.damage_modes import part_named
from babbitt.model.positions import require_position
from babbitt.register.journal.fields import shown
from babbitt.register.records.engines import refuse_before_built, spec_of
from babbitt.register.tables.part_models import (
    FitmentRow,
    HistoryRow,
    PartRow,
    SheetLineRow,
    WorkRow,
)


def settle_part(session: Session, row: PartRow, before: Mapping[str, Any]) -> None:
    """Refuse a part of no known kind, or one whose records do not fit it any more."""
    if row.withdrawn_at is not None:
        _refuse_in_use(session, row)
        return
    part_named(row.kind)
    if "kind" not in before:
        return
    fitments = select(FitmentRow).where(
        FitmentRow.part_id == row.part_id, FitmentRow.withdrawn_at.is_(None)
    )
    for fitment in session.scalars(fitments):
        settle_fitment(session, fitment, {})
    line = select(SheetLineRow.engine_id).where(
        SheetLineRow.part_id == row.part_id,
        SheetLineRow.part != row.kind,
        SheetLineRow.withdrawn_at.is_(None),
    )
    engine_id = session.scalar(line)
    if engine_id is not None:
        raise RegisterError(
            f"The part {row.part_id} is a {before['kind']} on a build sheet of {engine_id}: "
            "correct that line first."
        )


def settle_fitment(session: Session, row: FitmentRow, _before: Mapping[str, Any]) -> None:
    """Refuse a fitment that cannot be, or that another record of its time rules out."""
    if row.withdrawn_at is not None:
        return
    kind = session.get_one(PartRow, row.part_id).kind
    if row.until is not None and row.until <= row.since:
        raise RegisterError(
            f"The part {row.part_id} cannot be removed at {shown(row.until)}: it was fitted at "
            f"{shown(row.since)}."
        )
    refuse_before_built(session, row.engine_id, row.since, f"The fitting of {row.part_id}")
    layout = spec_of(session, row.engine_id).engine.arrangement
    require_position(kind, row.position, layout)
    _refuse_second_place(session, row)
    _refuse_taken_place(session, row, kind)
    _refuse_within_history(session, row)
    out = _overlapping_work(session, row.part_id, row.since, row.until)
    if out is not None:
        raise RegisterError(
            f"The part {row.part_id} cannot be in {row.engine_id} {_span(row.since, row.until)}: "
            f"it was out for work at {out.shop} {_span(out.since, out.back_at)}."
        )


def settle_work(session: Session, row: WorkRow, _before: Mapping[str, Any]) -> None:
    """Refuse work that cannot be, or that another record of its time rules out."""
    if row.withdrawn_at is not None:
        return
    for at, what in ((row.due, "be due"), (row.back_at, "be back")):
        if at is not None and at < row.since:
            raise RegisterError(
                f"The part {row.part_id} cannot {what} at {shown(at)}: it left at "
                f"{shown(row.since)}."
            )
    fitted = select(FitmentRow).where(
        FitmentRow.part_id == row.part_id,
        FitmentRow.withdrawn_at.is_(None),
        *_meeting(FitmentRow.since, FitmentRow.until, row.since, row.back_at),
    )
    there = session.scalars(fitted.limit(1)).first()
    if there is not None:
        raise RegisterError(
            f"The part {row.part_id} cannot be out for work {_span(row.since, row.back_at)}: it is "
            f"in {there.engine_id} {_span(there.since, there.until)}; remove it first.",
            Remedy("remove_part", row.part_id),
        )
    other = _overlapping_work(session, row.part_id, row.since, row.back_at, but=row.id)
    if other is not None:
        raise RegisterError(
            f"The part {row.part_id} cannot be out for work {_span(row.since, row.back_at)}: it "
            f"was at {other.shop} {_span(other.since, other.back_at)}."
        )


def _refuse_in_use(session: Session, row: PartRow) -> None:
    for table, what in (
        (FitmentRow, "a fitment"),
        (WorkRow, "work outside"),
        (HistoryRow, "a history"),
        (SheetLineRow, "a line on a build sheet"),
    ):
        used = select(table.id).where(table.part_id == row.part_id, table.withdrawn_at.is_(None))
        if session.scalar(used.limit(1)) is not None:
            raise RegisterError(f"The part {row.part_id} has {what}: withdraw that first.")


def _refuse_within_history(session: Session, row: FitmentRow) -> None:
    history = select(func.max(HistoryRow.until)).where(
        HistoryRow.part_id == row.part_id, HistoryRow.withdrawn_at.is_(None)
    )
    until = session.scalar(history)
    if until is not None and row.since < until:
        raise RegisterError(
            f"The part {row.part_id} cannot have been fitted at {shown(row.since)}: its history "
            f"from before it was first fitted lasts until {shown(until)}; correct that first."
        )


def _refuse_second_place(session: Session, row: FitmentRow) -> None:
    same = select(FitmentRow).where(
        FitmentRow.part_id == row.part_id,
        FitmentRow.id != row.id,
        FitmentRow.withdrawn_at.is_(None),
        *_meeting(FitmentRow.since, FitmentRow.until, row.since, row.until),
    )
    other = session.scalars(same.order_by(FitmentRow.since).limit(1)).first()
    if other is not None:
        raise RegisterError(
            f"The part {row.part_id} cannot be in {row.engine_id} {_span(row.since, row.until)}: "
            f"it is in {other.engine_id} {_span(other.since, other.until)}; remove it there first.",
            Remedy("remove_part", row.part_id),
        )


def _refuse_taken_place(session: Session, row: FitmentRow, kind: str) -> None:
    """Refuse two parts of one kind in one place; a set without position takes every place."""
    same_place = or_(FitmentRow.position == row.position, FitmentRow.position.is_(None))
    there = (
        select(FitmentRow)
        .join(PartRow, PartRow.part_id == FitmentRow.part_id)
        .where(
            PartRow.kind == kind,
            FitmentRow.engine_id == row.engine_id,
            FitmentRow.id != row.id,
            FitmentRow.withdrawn_at.is_(None),
            *([] if row.position is None else [same_place]),
            *_meeting(FitmentRow.since, FitmentRow.until, row.since, row.until),
        )
    )
    other = session.scalars(there.order_by(FitmentRow.since).limit(1)).first()
    if other is not None:
        place = "" if other.position is None else f" {other.position}"
        raise RegisterError(
            f"The {kind}{place} of {row.engine_id} is {other.part_id} "
            f"{_span(other.since, other.until)}: say so if {row.part_id} is to take its place.",
            Remedy("replacing"),
        )


def _overlapping_work(
    session: Session, part_id: str, start: datetime, end: datetime | None, *, but: int | None = None
) -> WorkRow | None:
    query = select(WorkRow).where(
        WorkRow.part_id == part_id,
        WorkRow.id.is_distinct_from(but),
        WorkRow.withdrawn_at.is_(None),
        *_meeting(WorkRow.since, WorkRow.back_at, start, end),
    )
    return session.scalars(query.order_by(WorkRow.since).limit(1)).first()


def _meeting(
    since: InstrumentedAttribute[datetime],
    until: InstrumentedAttribute[datetime | None],
    start: datetime,
    end: datetime | None,
) -> list[ColumnElement[bool]]:
    """Return the conditions under which a row's span shares time with [start, end).

    A span without its end (null, None) goes on; touching ends share no time.
    """
    conditions: list[ColumnElement[bool]] = [or_(until.is_(None), until > start)]
    if end is not None:
        conditions.append(since < end)
    return conditions


def _span(since: datetime, until: datetime | None) -> str:
    return f"from {shown(since)}" + ("" if until is None else f" to {shown(until)}")
