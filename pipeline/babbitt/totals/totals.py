"""Totals: what an engine has taken since a moment, kind by kind, beside how much of it was watched.

Unknown is None, not zero: a kind that no run could have shown has no dose.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from babbitt.model.engine_spec import EngineSpec
from babbitt.model.exposure import KindSums, WindowSums
from babbitt.model.kinds import KINDS, Kind


@dataclass(frozen=True)
class KindTotals:
    """Totals of one kind of harm.

    Attributes:
        kind: what sort of harm.
        count: events.
        duration_s: their durations, summed.
        dose: their doses, summed; None where no run could have shown one.
        dose_unit: unit of `dose` and `limit`.
        limit: dose at which one engine in ten shows damage; None where the spec states none.
        used: dose / limit; None where either is.
        watched_s: running seconds in which an event could have been seen.
        watched_share: those as a share of all running; None without running.
        stale: events found under other limits than the engine's present ones, among `count`.
    """

    kind: Kind
    count: int
    duration_s: float
    dose: float | None
    dose_unit: str
    limit: float | None
    used: float | None
    watched_s: float
    watched_share: float | None
    stale: int


@dataclass(frozen=True)
class Totals:
    """What an engine has taken; None where no log could tell.

    Attributes:
        engine_id: the engine.
        since: UTC, its last refresh; None: since it came into the logbook.
        runs: runs, unlogged ones among them.
        running_s: running seconds, unlogged ones among them.
        revolutions: of the logged runs.
        starts: of the logged runs.
        heat_cycles: of the logged runs with coolant temperature.
        runs_without_heat_cycles: runs that `heat_cycles` says nothing of.
        rod_fatigue_s: of the logged runs, see `Exposure`.
        spring_fatigue_s: of the logged runs.
        unlogged_runs: entries of running that no logger saw.
        unlogged_s: running seconds that no logger saw.
        first_run: UTC start of the earliest run; None without runs.
        last_run: UTC end of the run that ended last; None without runs.
        events: of every kind, in the order of KINDS.
    """

    engine_id: str
    since: datetime | None
    runs: int
    running_s: float
    revolutions: float | None
    starts: int | None
    heat_cycles: float | None
    runs_without_heat_cycles: int
    rod_fatigue_s: float | None
    spring_fatigue_s: float | None
    unlogged_runs: int
    unlogged_s: float
    first_run: datetime | None
    last_run: datetime | None
    events: tuple[KindTotals, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the totals as schemas/totals.schema.json describes them."""
        return {
            **asdict(self),
            "since": _utc(self.since),
            "first_run": _utc(self.first_run),
            "last_run": _utc(self.last_run),
            "events": {
                row.kind: {name: value for name, value in asdict(row).items() if name != "kind"}
                for row in self.events
            },
        }


def make_totals(
    sums: WindowSums, spec: EngineSpec, engine_id: str, since: datetime | None
) -> Totals:
    """Return the totals that the sums of a window come to.

    Args:
        sums: over the runs of the engine since `since`.
        spec: whose life doses the doses are held against.
        engine_id: the engine.
        since: its last refresh, aware; None where it had none.
    """
    logged = sums.runs == 0 or sums.runs > sums.unlogged_runs
    counted = sums.runs == 0 or sums.runs > sums.runs_without_heat_cycles
    return Totals(
        engine_id=engine_id,
        since=since,
        runs=sums.runs,
        running_s=sums.running_s,
        revolutions=sums.revolutions if logged else None,
        starts=sums.starts if logged else None,
        heat_cycles=sums.heat_cycles if counted else None,
        runs_without_heat_cycles=sums.runs_without_heat_cycles,
        rod_fatigue_s=sums.rod_fatigue_s if logged else None,
        spring_fatigue_s=sums.spring_fatigue_s if logged else None,
        unlogged_runs=sums.unlogged_runs,
        unlogged_s=sums.unlogged_s,
        first_run=sums.first_start,
        last_run=sums.last_end,
        events=tuple(
            _kind_totals(kind, sums.kinds[kind], sums.running_s, spec.life.of(kind))
            for kind in KINDS
        ),
    )


def _kind_totals(kind: Kind, sums: KindSums, running_s: float, limit: float | None) -> KindTotals:
    unseen = sums.watched_s == 0.0 and running_s > 0.0 and sums.count == 0
    dose = None if unseen else sums.dose
    return KindTotals(
        kind=kind,
        count=sums.count,
        duration_s=sums.duration_s,
        dose=dose,
        dose_unit=KINDS[kind].dose_unit,
        limit=limit,
        used=None if dose is None or limit is None else dose / limit,
        watched_s=sums.watched_s,
        watched_share=sums.watched_s / running_s if running_s > 0.0 else None,
        stale=sums.stale,
    )


def _utc(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat()
