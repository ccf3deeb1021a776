"""Runs, events and parts for tests of the damage model; figures are invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from babbitt.damage.ledger import Ledger, Loads, Taken, column_of
from babbitt.damage.looks import LikeParts
from babbitt.damage.posterior import KEPT, Posterior
from babbitt.damage.sudden import Severity
from babbitt.model.damage_modes import causes, mode_named
from babbitt.model.event import CERTAIN, Event
from babbitt.model.kinds import KINDS
from babbitt.model.records import DatedEvent
from babbitt.present.words import Reader
from babbitt.register.queries.run_exposures import RunExposure

MAY = datetime(2026, 5, 3, 10, 0, tzinfo=UTC)
READER = Reader("metric", UTC)
WIPED = mode_named("rod_bearing", "wiped")
NO_RATES = Loads(np.zeros(len(causes())))


def day(n: float) -> datetime:
    return MAY + timedelta(days=n)


def an_event(event_id: str = "e1", *, at: datetime = MAY, **changes) -> DatedEvent:
    """An oil starvation in a left-hander with a dose of 10, in a run that began at `at`."""
    fields = {
        "event_id": event_id,
        "run_id": f"run of {event_id}",
        "engine_id": "E1",
        "kind": "oil_starvation",
        "start_s": 100.0,
        "end_s": 101.5,
        "duration_s": 1.5,
        "peak": 120.0,
        "peak_s": 101.0,
        "dose": 10.0,
        "cause": None,
        "side": "left",
        "direction": "left",
        "ended_by": "release",
        "confidence": CERTAIN,
        "review": None,
        "spec_version": "v",
    } | changes
    kind = fields["kind"]
    units = {"peak_unit": KINDS[kind].unit, "dose_unit": KINDS[kind].dose_unit}
    return DatedEvent(Event(**(units | fields)), at)


def a_run(
    run_id: str = "r1", *, at: datetime = MAY, hours: float = 1.0, unwatched=(), **changes
) -> RunExposure:
    """A logged run of E1 in which every kind but those `unwatched` could be seen throughout."""
    fields = {
        "run_id": run_id,
        "engine_id": "E1",
        "started_at": at,
        "running_s": 3600.0 * hours,
        "revolutions": 300_000.0 * hours,
        "watched_s": {kind: 3600.0 * hours for kind in KINDS if kind not in unwatched},
        "unlogged": False,
        "judged": True,
        "circuit": None,
    } | changes
    return RunExposure(**fields)


def taken(*, unwatched_h: Mapping[str, float] | None = None, **doses: float) -> Taken:
    """What a part has taken, dots in causes written as __."""
    row, blind = np.zeros(len(causes())), np.zeros(len(causes()))
    for name, dose in doses.items():
        row[column_of(name.replace("__", "."))] = dose
    for name, hours in (unwatched_h or {}).items():
        blind[column_of(name)] = hours
    return Taken(row, blind, 0.0)


def a_ledger(
    *runs: Mapping[str, float], engine_id: str = "E1", circuits: Sequence[str | None] | None = None
) -> Ledger:
    """A ledger of logged runs, a day apart from MAY on, each given as its doses."""
    rows = [taken(**{name.replace(".", "__"): dose for name, dose in run.items()}) for run in runs]
    return Ledger(
        engine_id=engine_id,
        run_ids=tuple(f"r{n}" for n in range(len(runs))),
        started_s=np.array([day(n).timestamp() for n in range(len(runs))]),
        logged=np.ones(len(runs), dtype=np.bool_),
        doses=np.array([row.doses for row in rows]).reshape(-1, len(causes())),
        unwatched_h=np.array([row.unwatched_h for row in rows]).reshape(-1, len(causes())),
        revolutions=np.full(len(runs), 1000.0),
        circuits=(None,) * len(runs) if circuits is None else tuple(circuits),
    )


def like_parts(
    part: str = "rod_bearing", *, now: Taken, events: Sequence[DatedEvent] = (), **changes
) -> LikeParts:
    fields = {"engine_id": "E1", "positions": (None,), "count": 1, "looked": {}} | changes
    return LikeParts(part=part, now=now, events=tuple(events), **fields)


REPLACED = Severity(spreading=(1.0, 1e6), grades=(1e-6, 1e6, 1e-6))
"""Sudden damage that is always of grade 3, on one piece."""


def known(**causes_: tuple[float, float] | float) -> Posterior:
    """A posterior without any doubt: cause -> (eta, beta), unlogged -> h0; dots written as __."""
    h0 = causes_.pop("unlogged", 0.03)
    names = [name.replace("__", ".") for name in causes_]
    etas, betas = zip(*causes_.values(), strict=True) if names else ((), ())
    return Posterior(
        causes=tuple(names),
        draws=np.tile(np.log([h0, *etas, *betas]), (KEPT, 1)),
        beliefs=(1.0,),
        ess=512.0,
        observations=4,
        damaged=1,
        severity=REPLACED,
    )
