"""What a change did to an engine: runs before it beside runs after it, at circuits of both."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from babbitt.errors import RegisterError
from babbitt.logbook.folder import Logbook
from babbitt.model.event import NOT_COUNTED
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.records import ChangeRecord, DatedEvent
from babbitt.outlook.effect import Rates, Side, effects
from babbitt.register import Session
from babbitt.register.queries.run_exposures import RunExposure, run_exposures
from babbitt.register.records import alterations, builds, events, layouts


@dataclass(frozen=True)
class Effect:
    """What a change did.

    Attributes:
        change: the change.
        circuits: at which runs of both sides were; "" for runs of which nobody said.
        before: runs from the change or refresh before it on.
        after: runs until the change or refresh after it.
        per: what rates are per.
        rates: of each kind of harm that could be seen on both sides.
    """

    change: ChangeRecord
    circuits: tuple[str, ...]
    before: Side
    after: Side
    per: Literal["lap", "hour"]
    rates: dict[Kind, Rates]


def effect_of(book: Logbook, change_id: int) -> Effect:
    """Compare the runs before a change with those after it.

    Raises:
        RegisterError: no such change, no run on a side of it, or no circuit that both share.
    """
    with book.register.reading() as session:
        change = alterations.find_change(session, change_id)
        since, until = _span(session, change)
        runs = [
            run
            for run in run_exposures(session, [change.engine_id])
            if run.judged and not run.unlogged and _within(run.started_at, since, until)
        ]
        sides = (
            [run for run in runs if run.started_at < change.at],
            [run for run in runs if run.started_at >= change.at],
        )
        shared = {run.circuit for run in sides[0]} & {run.circuit for run in sides[1]}
        _refuse_unlike(sides, shared)
        compared = [[run for run in side if run.circuit in shared] for side in sides]
        ids = [run.run_id for side in compared for run in side]
        laps = {
            run_id: {lap.number for lap in layout.whole_laps}
            for run_id, layout in layouts.layouts_of(session, ids).items()
        }
        found = events.list_events(session, engine_id=change.engine_id)
    by_lap = all(laps.get(run_id) for run_id in ids)
    before, after = (_side(side, found, laps if by_lap else None) for side in compared)
    return Effect(
        change,
        tuple(sorted(name or "" for name in shared)),
        before,
        after,
        "lap" if by_lap else "hour",
        effects(before, after),
    )


def _span(session: Session, change: ChangeRecord) -> tuple[datetime | None, datetime | None]:
    """Return from when until when nothing else was altered; None: without that end."""
    dates = [
        each.at
        for each in alterations.list_changes(session, change.engine_id)
        if each.change_id != change.change_id
    ]
    dates += [b.since for b in builds.builds_of(session, change.engine_id) if b.since is not None]
    earlier = [at for at in dates if at < change.at]
    later = [at for at in dates if at > change.at]
    return max(earlier, default=None), min(later, default=None)


def _within(at: datetime, since: datetime | None, until: datetime | None) -> bool:
    return (since is None or at >= since) and (until is None or at < until)


def _refuse_unlike(
    sides: tuple[Sequence[RunExposure], Sequence[RunExposure]], shared: Collection[str | None]
) -> None:
    for side, word in zip(sides, ("before", "after"), strict=True):
        if not side:
            raise RegisterError(
                f"No logged run lies between this change and the change or refresh {word} it: "
                "there is nothing to compare."
            )
    if not shared:
        raise RegisterError(
            "The runs before this change and those after it were at no common circuit: they do "
            "not compare."
        )


def _side(
    runs: Sequence[RunExposure], found: Sequence[DatedEvent], laps: dict[str, set[int]] | None
) -> Side:
    ids = {run.run_id for run in runs}
    counting = [
        each.event
        for each in found
        if each.event.run_id in ids and each.event.review not in NOT_COUNTED
    ]
    if laps is None:
        over = {kind: sum(run.watched_s.get(kind, 0.0) for run in runs) / 3600.0 for kind in KINDS}
    else:
        counting = [event for event in counting if event.lap in laps[event.run_id]]
        over = {
            kind: float(sum(len(laps[r.run_id]) for r in runs if r.watched_s.get(kind)))
            for kind in KINDS
        }
    return Side(len(runs), Counter(event.kind for event in counting), over)
