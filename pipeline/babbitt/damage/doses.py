"""Which events count towards which cause of damage."""

from __future__ import annotations

from collections.abc import Iterable

from babbitt.model.damage_modes import Cause, causes
from babbitt.model.event import NOT_COUNTED, Event
from babbitt.model.kinds import Kind


def events_by_cause(events: Iterable[Event]) -> dict[str, tuple[Event, ...]]:
    """Return the events behind each cause that has a kind; their doses add up to its dose.

    Args:
        events: of any runs, in any order; those reviewed as sensor fault or harmless stay out.

    Returns:
        Cause -> its events, in the order given; the same causes whatever the events.
    """
    counted = [event for event in events if event.review not in NOT_COUNTED]
    spans: dict[tuple[str, Kind], list[Event]] = {}
    for event in counted:
        spans.setdefault((event.run_id, event.kind), []).append(event)

    def meets(event: Event, kind: Kind) -> bool:
        others = spans.get((event.run_id, kind), [])
        return any(o.start_s <= event.end_s and event.start_s <= o.end_s for o in others)

    def counts(event: Event, cause: Cause) -> bool:
        return (
            event.kind == cause.kind
            and cause.event_cause in (None, event.cause)
            and (cause.except_cause is None or cause.except_cause != event.cause)
            and (cause.during is None or meets(event, cause.during))
            and (cause.outside is None or not meets(event, cause.outside))
        )

    return {
        name: tuple(event for event in counted if counts(event, cause))
        for name, cause in causes().items()
        if cause.kind is not None
    }
