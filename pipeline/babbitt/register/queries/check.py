"""Is the register whole in itself? What the database can tell, and what is kept twice."""

from __future__ import annotations

from collections import defaultdict

from sqlalchemy import or_, select, text
from sqlalchemy.orm import Session

from babbitt.register.records.reviews import Reviewed, holding, reviewed_of, span_of
from babbitt.register.tables.models import EventRow, ExposureRow, ReviewRow, RunRow


def faults(session: Session) -> tuple[str, ...]:
    """Return what is wrong with the register, a sentence each; nothing where it is whole."""
    damage = _damage(session)
    if damage:
        return damage  # a damaged file cannot be asked for more
    return (*_dangling(session), *_without_exposure(session), *_misread_reviews(session))


def _damage(session: Session) -> tuple[str, ...]:
    """Have SQLite verify its file; PostgreSQL sees to its own."""
    if not _is_sqlite(session):
        return ()
    answers = session.scalars(text("PRAGMA integrity_check(10)")).all()
    return tuple(
        f"The register is damaged ({answer}): restore it from a backup."
        for answer in answers
        if answer != "ok"
    )


def _dangling(session: Session) -> tuple[str, ...]:
    """Look for references to nothing, which SQLite lets in where the check is switched off."""
    if not _is_sqlite(session):
        return ()
    tables = session.scalars(text("PRAGMA foreign_key_check")).all()
    return tuple(
        f"The register's table {table} names records that are gone: restore it from a backup."
        for table in sorted(set(tables))
    )


def _is_sqlite(session: Session) -> bool:
    return session.get_bind().dialect.name == "sqlite"


def _without_exposure(session: Session) -> list[str]:
    query = (
        select(RunRow.run_id)
        .outerjoin(ExposureRow, ExposureRow.run_id == RunRow.run_id)
        .where(ExposureRow.run_id.is_(None))
        .order_by(RunRow.run_id)
    )
    return [
        f"Run {run_id} has no exposure in the register: remove it and ingest its log again."
        for run_id in session.scalars(query)
    ]


def _misread_reviews(session: Session) -> list[str]:
    """Compare the review kept with each event with what the reviews of its run come to."""
    reviews: dict[str, list[Reviewed]] = defaultdict(list)
    live = ReviewRow.withdrawn_at.is_(None)
    for given in session.scalars(select(ReviewRow).where(live).order_by(ReviewRow.id)):
        reviews[given.run_id].append(reviewed_of(given))
    concerned = or_(EventRow.run_id.in_(select(ReviewRow.run_id)), EventRow.review.is_not(None))
    events: dict[str, list[EventRow]] = defaultdict(list)
    for event in session.scalars(select(EventRow).where(concerned)):
        events[event.run_id].append(event)
    return [
        f"Event {event.event_id} does not carry the review it was given: review it again."
        for run_id, found in sorted(events.items())
        for verdicts in [holding(map(span_of, found), reviews[run_id])]
        for event in found
        if event.review != verdicts.get(event.event_id)
    ]
