"""Causes to blame for damage, and the events behind them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from babbitt.damage.chance import Estimate, shares
from babbitt.damage.doses import events_by_cause
from babbitt.damage.model import Load
from babbitt.damage.posterior import Posterior
from babbitt.model.records import DatedEvent


@dataclass(frozen=True)
class BlamedEvent:
    """An event behind a cause, and its share of the dose of that cause."""

    dated: DatedEvent
    share: float


@dataclass(frozen=True)
class Blame:
    """How far one cause accounts for damage.

    Attributes:
        cause: of schemas/causes.toml, or `unlogged`.
        share: probability that it did the damage, with its 90 % interval.
        events: behind it, that with the largest share of its dose first; empty for running time
            and for what is not in the log.
    """

    cause: str
    share: Estimate
    events: tuple[BlamedEvent, ...]


def blames_of(
    posterior: Posterior, load: Load, events: Sequence[DatedEvent], *, found: bool
) -> tuple[Blame, ...]:
    """Return the causes of damage, the likeliest first, with the events behind each.

    Args:
        posterior: of the damage mode.
        load: what the part has taken.
        events: in the runs that it took it in.
        found: the damage was found, and is among what the posterior was learned from; else it is
            asked what would be to blame.
    """
    behind = _events_behind(events)
    blames = [
        Blame(cause, estimate, behind.get(cause, ()))
        for cause, estimate in shares(posterior, load, found=found).items()
    ]
    return tuple(sorted(blames, key=lambda blame: -blame.share.p))


def worst_events(blames: Iterable[Blame]) -> tuple[DatedEvent, ...]:
    """Return the worst event of each blame that has any."""
    return tuple(blame.events[0].dated for blame in blames if blame.events)


def _events_behind(events: Sequence[DatedEvent]) -> dict[str, tuple[BlamedEvent, ...]]:
    dated = {each.event.event_id: each for each in events}
    behind = {}
    for cause, members in events_by_cause(each.event for each in events).items():
        dose = sum(event.dose for event in members)
        ranked = sorted(members, key=lambda event: -event.dose)
        behind[cause] = tuple(
            BlamedEvent(dated[event.event_id], event.dose / dose if dose else 0.0)
            for event in ranked
        )
    return behind
