"""The engines of a logbook beside one another: which one is to be pulled?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from babbitt.damage.ledger import column_of
from babbitt.jobs.outlook import Known
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.plain_text import capital
from babbitt.outlook.call import Call
from babbitt.outlook.drift import Drift
from babbitt.outlook.gaps import WATCHED
from babbitt.outlook.outlook import Outlook
from babbitt.present.outlook_words import after, grave_gaps, limit_in_words
from babbitt.present.views.foresight import Foreseen
from babbitt.present.words import NOTHING, Reader, duration, faults_in_words, place, share
from babbitt.totals.totals import Totals

URGENCY: tuple[Call, ...] = ("pull", "inspect", "run on")
"""Calls, the most urgent first."""

LATELY = timedelta(days=3)
"""Running that belongs to the newest outing lies within this of the newest run (common practice, no
source)."""

NAMED = 6
"""So many engines of one call are named in a sentence; more are counted."""


@dataclass(frozen=True)
class LifeUse:
    """How much of one life dose an engine has used since its last refresh.

    Attributes:
        kind: of harm.
        used: share of the life dose; None: no run could have shown such harm.
        ahead: share that the next runs would add, as the last ones did; None: no run to tell by.
    """

    kind: Kind
    used: float | None
    ahead: float | None


@dataclass(frozen=True, eq=False)
class FleetEngine:
    """One engine, as it stands beside the others.

    Attributes:
        engine_id: the engine.
        outlook: its outlook.
        totals: since its last refresh.
        life: of every kind of harm that its spec states a life dose of.
    """

    engine_id: str
    outlook: Outlook
    totals: Totals
    life: Mapping[Kind, LifeUse]

    @property
    def call(self) -> Call:
        """What to do with it."""
        return self.outlook.verdict.call

    @property
    def drift(self) -> Drift | None:
        """Of oil pressure since the refresh; None: not known."""
        return self.outlook.drift


@dataclass(frozen=True, eq=False)
class Fleet:
    """All engines of a logbook.

    Attributes:
        engines: in the order asked for.
        kinds: of harm that any engine has a life dose for.
        runs: how far their outlooks look ahead.
        lately: runs of the newest outing.
        lately_since: UTC start of the first of them; None without runs.
        faults: why nothing can be said of the other engines, a sentence each.
    """

    engines: tuple[FleetEngine, ...]
    kinds: tuple[Kind, ...]
    runs: int
    lately: int
    lately_since: datetime | None
    faults: tuple[str, ...]


_Key = Callable[[FleetEngine], Any]


def _urgency(engine: FleetEngine) -> tuple[int, float]:
    return URGENCY.index(engine.call), -engine.outlook.verdict.chance.p


def _used(kind: Kind) -> _Key:
    def key(engine: FleetEngine) -> float:
        use = engine.life.get(kind)
        return -(use.used or 0.0) if use else 0.0

    return key


SORTS: dict[str, _Key] = {
    "urgency": _urgency,
    "engine": lambda engine: engine.engine_id,
    "running": lambda engine: -engine.totals.running_s,
    "pressure": lambda engine: engine.drift.change if engine.drift else 0.0,
    "last": lambda engine: -(engine.totals.last_run.timestamp() if engine.totals.last_run else 0.0),
    "watched": lambda engine: watched_share(engine.totals),
    **{kind: _used(kind) for kind in KINDS},
}
"""What the engines can be sorted by: name -> key; what wants a look first comes first."""


def fleet(foreseen: Foreseen, *, runs: int, sort: str = "urgency") -> Fleet:
    """Return the engines of a logbook beside one another.

    Args:
        foreseen: what the record foretells.
        runs: how many runs lie ahead, 1 to MOST_RUNS.
        sort: one of SORTS; those that it finds alike are sorted by urgency.
    """
    engines = [
        FleetEngine(
            engine_id=name,
            outlook=foreseen.outlook(name, runs),
            totals=foreseen.totals[name],
            life=life_uses(known, foreseen.totals[name], runs),
        )
        for name, known in foreseen.known.items()
    ]
    starts = sorted(
        run.started_at
        for name in foreseen.known
        for run in foreseen.gathered.runs.get(name, ())
        if run.started_at <= foreseen.at
    )
    lately = [start for start in starts if start >= starts[-1] - LATELY]
    return Fleet(
        engines=tuple(sorted(sorted(engines, key=_urgency), key=SORTS[sort])),
        kinds=tuple(kind for kind in KINDS if any(kind in engine.life for engine in engines)),
        runs=runs,
        lately=len(lately),
        lately_since=lately[0] if lately else None,
        faults=tuple(faults_in_words(foreseen.faults)),
    )


def life_uses(known: Known, totals: Totals, runs: int) -> dict[Kind, LifeUse]:
    """Return how much of each life dose an engine has used, and what the next runs would add.

    These are expected to be like the runs that its outlook draws from; what those could not have
    shown is counted at the usual rate of the fleet.

    Args:
        known: of the engine.
        totals: of the engine.
        runs: how many lie ahead.
    """
    pool, rates = known.state.pool, known.learned.loads.rates
    uses = {}
    for row in totals.events:
        if row.limit is not None:
            column = column_of(row.kind)
            doses = pool.doses[:, column] + pool.unwatched_h[:, column] * rates[column]
            ahead = runs * float(doses.mean()) / row.limit if pool.runs else None
            uses[row.kind] = LifeUse(row.kind, row.used, ahead)
    return uses


def because(outlook: Outlook, reader: Reader) -> str:
    """Return what drove a call, in a phrase."""
    grounds, on = outlook.verdict.grounds, outlook.verdict.decisive
    match grounds[0] if grounds else None:
        case "risk" | "interval" | "low risk" if on is not None:
            likely = outlook.verdict.chance
            what = f"{place(on.mode.part, on.like.positions)} {on.mode.title}"
            ends = f"{100 * likely.low:.0f}–{100 * likely.high:.0f} %"
            return f"a part to replace {share(likely.p)} ({ends}), first {what}"
        case "pressure" if outlook.drift is not None:
            return f"oil pressure {share(-outlook.drift.change)} lower than fresh"
        case "limit":
            first = outlook.passed[0]
            return f"{place(first.part, first.positions)} past its {limit_in_words(first.limit)}"
        case "doubt":
            return grave_gaps(outlook, reader)[0]
    return "no damage mode could be judged"


def watched_share(totals: Totals) -> float:
    """Return the share of the running in which the least watched kind of harm could be seen.

    Kinds without a life dose are not asked for; 1 without running.
    """
    shares = [row.watched_share for row in totals.events if row.limit is not None]
    return min((each for each in shares if each is not None), default=1.0)


def quality_in_words(totals: Totals) -> str:
    """Return how far the logs can be trusted to tell everything, in a phrase."""
    if totals.runs == 0:
        return "no runs"
    said = []
    least = watched_share(totals)
    if least < WATCHED:
        blind = [
            KINDS[row.kind].title
            for row in totals.events
            if row.limit is not None and row.watched_share == least
        ]
        said.append(f"{blind[0]} watched {share(least)}")
    if totals.unlogged_s:
        said.append(f"{duration(totals.unlogged_s)} not logged")
    return capital("; ".join(said)) if said else "Whole"


def advice(found: Fleet) -> str:
    """Return what to do with the engines, in a sentence."""
    named = {
        call: [engine.engine_id for engine in found.engines if engine.call == call]
        for call in URGENCY
    }
    verbs: dict[Call, str] = {"pull": "Pull", "inspect": "Inspect", "run on": "Run on with"}
    said = [f"{verbs[call]} {_names(sorted(names))}." for call, names in named.items() if names]
    return " ".join(said)


def _names(names: Sequence[str]) -> str:
    if len(names) > NAMED:
        return f"{len(names)} engines"
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def drift_in_figures(drift: Drift | None) -> str:
    """Return the change of oil pressure as whole per cent, signed."""
    if drift is None:
        return NOTHING
    per_cent = round(100.0 * drift.change)
    return f"{per_cent:+d} %".replace("-", "−") if per_cent else "0 %"


def lately_in_words(found: Fleet, reader: Reader) -> str:
    """Return how much ran of late, in a phrase; "" without runs."""
    if found.lately_since is None:
        return ""
    noun = "run" if found.lately == 1 else "runs"
    return f"{found.lately} {noun} since {reader.day(found.lately_since)}"


def ahead_in_words(runs: int) -> str:
    """Return how far ahead is looked, in a phrase."""
    return after(runs)
