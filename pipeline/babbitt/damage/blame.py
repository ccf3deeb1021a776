"""Causes to blame for damage, the events behind them, and both in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from babbitt.damage.chance import Estimate, shares
from babbitt.damage.doses import events_by_cause
from babbitt.damage.model import UNLOGGED, Load
from babbitt.damage.posterior import Posterior
from babbitt.model.damage_modes import causes, parts
from babbitt.model.records import DatedEvent
from babbitt.present.words import Reader, number

ONE_SIDED = 0.8
"""Share of the dose taken in corners of one direction from which that direction is named."""

LONG_S = 1.0
"""Mean duration, weighted by dose, from which corners are called long (common practice, no
source)."""


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


def cause_in_words(blame: Blame) -> str:
    """Return a cause in words, with the direction of the corners where that tells."""
    if blame.cause == UNLOGGED:
        return "not in the log"
    title = causes()[blame.cause].title
    if causes()[blame.cause].kind != "oil_starvation" or not blame.events:
        return title
    corners = "corners"
    for side in ("left", "right"):
        if sum(b.share for b in blame.events if b.dated.event.side == side) >= ONE_SIDED:
            corners = f"{side}-handers"
    mean_s = sum(b.share * b.dated.event.duration_s for b in blame.events)
    return title.replace("corners", f"long {corners}" if mean_s >= LONG_S else corners)


def blame_in_words(blame: Blame, reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return a cause, how many events are behind it, and the worst of them, in words.

    Args:
        blame: the cause.
        reader: whose units and time zone are used.
        rpm_at: engine speed at the peak of events, 1/min, by event id; those without are told
            without it.
    """
    words = cause_in_words(blame)
    if not blame.events:
        return words
    count = len(blame.events)
    worst = blame.events[0].dated
    event = worst.event
    if event.kind == "over_rev":
        peak = f"{number(round(event.peak, -1))} rpm"
    else:
        peak = " ".join(reader.value(event.peak, event.peak_unit))
        if event.event_id in rpm_at:
            peak += f" at {number(round(rpm_at[event.event_id], -1))} rpm"
    events = f"{count} event{'s' if count > 1 else ''}"
    return f"{words}, {events}, worst {peak} on {reader.day(worst.at)}"


def place(part: str, positions: Sequence[str | None]) -> str:
    """Return a part and where it sits: rod bearing 2, turbo bearing exhaust, head gasket."""
    where = ", ".join(position for position in positions if position is not None)
    return f"{parts()[part].title} {where}".rstrip()


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
