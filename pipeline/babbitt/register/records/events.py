"""The events of runs, and people's word on them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import fields
from datetime import UTC, datetime
from typing import Any, cast

from sqlalchemy import Select, delete, insert, select, update
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.event import VERDICTS, Confidence, Event, Verdict
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.records import DatedEvent, ReviewRecord
from babbitt.register.journal.changes import Record, changing
from babbitt.register.records.engines import require_engine
from babbitt.register.records.reviews import Reviewed, Span, holding, reviewed_of, span_of
from babbitt.register.records.runs import CANDIDATES, ambiguous, in_window, run_row
from babbitt.register.tables.models import EventRow, ReviewRow, RunRow


def replace_events(
    session: Session,
    run_id: str,
    events: Iterable[Event],
    *,
    judged_by: str,
    kinds: Collection[Kind] = KINDS,
    spec_version: str | None = None,
) -> None:
    """Put the events of a run in place of those found before; reviews stay with them.

    Args:
        session: of a writing transaction.
        run_id: the run.
        events: all of the `kinds` that were found in it; their `review` is not looked at.
        judged_by: key of what they were judged by: limits, expected pressure and detector.
        kinds: those that were searched for; events of others stay.
        spec_version: of the limits in force, for the events that stay.

    Raises:
        RegisterError: no such run.
        ValueError: an event is of another run, or of a kind that was not searched for.
    """
    run = run_row(session, run_id)
    found = tuple(events)
    if any(event.run_id != run.run_id or event.kind not in kinds for event in found):
        raise ValueError(f"an event is not of the run {run.run_id}, or of another kind")
    spans = [Span(event.event_id, event.kind, event.start_s, event.end_s) for event in found]
    verdicts = holding(spans, _reviews_of(session, run.run_id))
    before = EventRow.run_id == run.run_id
    session.execute(delete(EventRow).where(before, EventRow.kind.in_(kinds)))
    if spec_version is not None:
        session.execute(update(EventRow).where(before).values(spec_version=spec_version))
    if found:
        session.execute(insert(EventRow), [_to_row(event, verdicts) for event in found])
    run.judged_by = judged_by
    session.flush()


def place_events(
    session: Session, run_id: str, places: Mapping[str, tuple[int | None, int | None]]
) -> None:
    """Say anew in which lap and corner the events of a run lie.

    Args:
        session: of a writing transaction.
        run_id: the run.
        places: id of each event -> numbers of its lap and corner.
    """
    for row in session.scalars(select(EventRow).where(EventRow.run_id == run_id)):
        row.lap, row.corner = places.get(row.event_id, (None, None))


def list_events(
    session: Session,
    *,
    engine_id: str | None = None,
    run_id: str | None = None,
    kind: Kind | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> tuple[DatedEvent, ...]:
    """Return events in the order of their runs' start, then their own; removed runs are out.

    Args:
        session: of a transaction.
        engine_id: only those of this engine.
        run_id: only those of this run, removed or not; the beginning of its id will do.
        kind: only those of this kind.
        since: only those of runs that start then or later.
        until: only those of runs that start before.

    Raises:
        RegisterError: no such engine or run.
    """
    query = _events().where(*in_window(since, until))
    if run_id is None:
        query = query.where(RunRow.removed_at.is_(None))
    else:
        query = query.where(RunRow.run_id == run_row(session, run_id).run_id)
    if engine_id is not None:
        require_engine(session, engine_id)
        query = query.where(RunRow.engine_id == engine_id)
    if kind is not None:
        query = query.where(EventRow.kind == kind)
    query = query.order_by(
        RunRow.started_at, RunRow.run_id, EventRow.start_s, EventRow.kind, EventRow.event_id
    )
    return tuple(_dated(row) for row in session.execute(query))


def find_event(session: Session, event_id: str) -> DatedEvent:
    """Return an event by its id, or by the beginning of it.

    Raises:
        RegisterError: no event begins so, or several do; names them.
    """
    query = _events().order_by(EventRow.event_id).limit(CANDIDATES + 1)
    rows = session.execute(query.where(EventRow.event_id == event_id)).all()
    if not rows and event_id:
        starting = EventRow.event_id.startswith(event_id, autoescape=True)
        rows = session.execute(query.where(starting)).all()
    if not rows:
        raise RegisterError(
            f"There is no event {event_id!r}: look it up in the list.", Remedy("list_events")
        )
    found = [_dated(row) for row in rows]
    if len(found) > 1:
        raise RegisterError(ambiguous("event", event_id, [each.event.event_id for each in found]))
    return found[0]


def add_review(
    session: Session, event_id: str, verdict: Verdict, note: str = "", *, seen: int | None = None
) -> DatedEvent:
    """Keep a person's word on an event; it holds until they give another.

    Args:
        session: of a writing transaction.
        event_id: the event, or the beginning of its id.
        verdict: their word.
        note: why.
        seen: number of the newest review of the run that they looked at, 0 for none; None:
            whatever is there now.

    Returns:
        The event with its review.

    Raises:
        RegisterError: no such event or verdict, or somebody reviewed it since.
    """
    if verdict not in VERDICTS:
        raise RegisterError(f"{verdict!r} is no review: choose {', '.join(VERDICTS)}.")
    event = find_event(session, event_id).event
    if seen is not None:
        _refuse_reviewed_since(session, event, seen)
    row = ReviewRow(
        run_id=event.run_id,
        event_id=event.event_id,
        kind=event.kind,
        start_s=event.start_s,
        end_s=event.end_s,
        verdict=verdict,
        note=note,
        at=datetime.now(UTC),
        who=session.info["who"],
    )
    with changing(session, "review", note) as act:
        act.create(REVIEW, row)
    return find_event(session, event.event_id)


def reviews_of(session: Session, run_id: str) -> tuple[ReviewRecord, ...]:
    """Return the reviews of a run, oldest first; withdrawn ones are out.

    Args:
        session: of a transaction.
        run_id: the run.
    """
    return tuple(
        ReviewRecord(row.id, row.event_id, cast(Verdict, row.verdict), row.note, row.at, row.who)
        for row in session.scalars(_live_reviews(run_id))
    )


def _refuse_reviewed_since(session: Session, event: Event, seen: int) -> None:
    later = [
        review
        for review in reviews_of(session, event.run_id)
        if review.review_id > seen and review.event_id == event.event_id
    ]
    if later:
        newest = later[-1]
        why = f" ({newest.note})" if newest.note else ""
        raise RegisterError(
            f"{newest.who} called this event {newest.verdict.replace('_', ' ')}{why} meanwhile: "
            "look again, and repeat your word if it still holds."
        )


def _to_row(event: Event, verdicts: Mapping[str, Verdict]) -> dict[str, Any]:
    """Return the columns of an event; its engine is the run's, and not kept twice."""
    row = {each.name: getattr(event, each.name) for each in fields(Event)}
    row |= {
        "review": verdicts.get(event.event_id),
        "confidence": event.confidence.to_json(),
    }
    del row["engine_id"]
    return row


def _reviews_of(session: Session, run_id: str) -> list[Reviewed]:
    """Return all reviews of a run, oldest first; withdrawn ones are out."""
    return [reviewed_of(row) for row in session.scalars(_live_reviews(run_id))]


def _live_reviews(run_id: str) -> Select[ReviewRow]:
    there = ReviewRow.run_id == run_id, ReviewRow.withdrawn_at.is_(None)
    return select(ReviewRow).where(*there).order_by(ReviewRow.id)


def _events() -> Select[Any]:
    """Select the fields of events in their order, and the start of their run."""
    columns = [
        RunRow.engine_id if field.name == "engine_id" else getattr(EventRow, field.name)
        for field in fields(Event)
    ]
    return select(*columns, RunRow.started_at).join(RunRow, RunRow.run_id == EventRow.run_id)


def _dated(row: Any) -> DatedEvent:
    named = row._asdict()
    run_started_at = named.pop("started_at")
    named["confidence"] = Confidence.from_json(named["confidence"])
    return DatedEvent(Event(**named), run_started_at)


def _settle(session: Session, review: ReviewRow, _before: Mapping[str, Any]) -> None:
    """Write anew what the reviews of the run come to for its events."""
    rows = session.scalars(select(EventRow).where(EventRow.run_id == review.run_id)).all()
    verdicts = holding(map(span_of, rows), _reviews_of(session, review.run_id))
    for row in rows:
        row.review = verdicts.get(row.event_id)


def _engine_of(session: Session, review: ReviewRow) -> str:
    return session.get_one(RunRow, review.run_id).engine_id


REVIEW = Record(
    ReviewRow,
    about=("event_id", "verdict"),
    settle=_settle,
    engine_of=_engine_of,
    listed_by="babbitt events",
    derived=frozenset({"at", "who"}),
)
