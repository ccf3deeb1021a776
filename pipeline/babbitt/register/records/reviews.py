"""Which review holds for which event, now that events have been found anew."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

from babbitt.model.event import Verdict
from babbitt.model.kinds import Kind
from babbitt.register.tables.models import EventRow, ReviewRow

_COVERED = 0.5
"""A carried-over review covers at least this share of the event: a word on a short blip must not
take a long event out of the totals."""


@dataclass(frozen=True)
class Span:
    """Where an event lies in its run.

    Attributes:
        event_id: its id.
        kind: its kind.
        start_s: seconds from the start of the run.
        end_s: seconds from the start of the run.
    """

    event_id: str
    kind: Kind
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Reviewed:
    """A person's word on an event as it lay when they gave it."""

    span: Span
    verdict: Verdict


def holding(found: Iterable[Span], reviews: Iterable[Reviewed]) -> dict[str, Verdict]:
    """Return the verdict that holds for each event, by event id; events without one are left out.

    An event's own newest review holds. One that was never reviewed under its id, because a change
    of limits split or moved it, takes the review of the stretch that it shares most time with, if
    that covers half of it; the newest where two share as much.

    Args:
        found: the events of one run, as found today.
        reviews: all of that run, oldest first; those of events not found today among them.
    """
    newest: dict[str, Reviewed] = {}
    for review in reviews:
        newest.pop(review.span.event_id, None)  # puts the newer one last
        newest[review.span.event_id] = review
    verdicts: dict[str, Verdict] = {}
    for span in found:
        holds = newest.get(span.event_id) or _carried_over(span, newest.values())
        if holds is not None:
            verdicts[span.event_id] = holds.verdict
    return verdicts


def span_of(row: EventRow | ReviewRow) -> Span:
    """Return where the event of a row lies."""
    return Span(row.event_id, row.kind, row.start_s, row.end_s)


def reviewed_of(row: ReviewRow) -> Reviewed:
    """Return the review of a row."""
    return Reviewed(span_of(row), cast(Verdict, row.verdict))


def _carried_over(span: Span, reviews: Iterable[Reviewed]) -> Reviewed | None:
    best, best_s = None, 0.0
    for review in reviews:
        shared_s = _shared_s(span, review.span)
        if shared_s > 0.0 and shared_s >= best_s:
            best, best_s = review, shared_s
    return best if best_s >= _COVERED * (span.end_s - span.start_s) else None


def _shared_s(one: Span, other: Span) -> float:
    if one.kind != other.kind:
        return 0.0
    return max(0.0, min(one.end_s, other.end_s) - max(one.start_s, other.start_s))
