"""The outlook of one engine: chances, first limit, drift and gaps, and the call they come to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from babbitt.damage.blame import Blame, blames_of
from babbitt.damage.chance import Chances, Estimate, foretell, risk_after
from babbitt.damage.ledger import Loads
from babbitt.damage.looks import LikeParts
from babbitt.damage.model import UNLOGGED
from babbitt.damage.posterior import Posterior
from babbitt.model.damage_modes import DamageMode
from babbitt.model.engine_spec import DecisionSection, EngineSpec
from babbitt.model.run import FloatArray
from babbitt.model.service_limits import ServiceLimit
from babbitt.outlook.ahead import MOST_RUNS, Ahead, Pool, draw_ahead
from babbitt.outlook.call import Verdict, decide
from babbitt.outlook.drift import Drift
from babbitt.outlook.forecast import ModeOutlook, forecast
from babbitt.outlook.gaps import Coverage, Gap, gaps_of
from babbitt.outlook.gauges import life_gauges, service_gauges
from babbitt.outlook.reach import Reach, first_reach, passed

_LEAST = 1e-9  # chance of being spared, where it divides


@dataclass(frozen=True, eq=False)
class EngineState:
    """What is known of an engine when its outlook is asked for.

    Attributes:
        engine_id: the engine.
        at: UTC, the moment of the outlook.
        since: UTC, its last refresh; None: since it came into the logbook.
        spec: in force.
        fitted: its parts.
        pool: runs that the next ones are drawn from.
        loads: by the usual rates of the fleet.
        coverage: how far the logs cover it since its last refresh.
        drift: of oil pressure since the refresh; None: not known.
        teardowns: of its type that were recorded.
        usual_h: running hours that parts of each kind usually run; None: not known.
    """

    engine_id: str
    at: datetime
    since: datetime | None
    spec: EngineSpec
    fitted: tuple[LikeParts, ...]
    pool: Pool
    loads: Loads
    coverage: Coverage
    drift: Drift | None
    teardowns: int
    usual_h: Mapping[str, float | None]


@dataclass(frozen=True)
class Decisive:
    """More on the damage mode that decides the call; chances are of having to replace the part.

    Attributes:
        blame: the first cause that is logged, should the part be damaged.
        if_sound: chance after the next runs, should a look now find the part sound.
        runs_left: after so many runs the chance is above the accepted risk; None: not within
            MOST_RUNS.
        usual_h: running hours that such parts usually run; None: not known.
    """

    blame: Blame
    if_sound: Estimate
    runs_left: int | None
    usual_h: float | None


@dataclass(frozen=True, eq=False)
class Outlook:
    """What an engine's next runs may bring, and what to do.

    Attributes:
        engine_id: the engine.
        at: UTC, the moment of the outlook.
        since: UTC, its last refresh; None: since it came into the logbook.
        runs: how far ahead it looks.
        pool: runs that those ahead are drawn from.
        verdict: the call.
        decisive: more on the damage mode that it rests on; None: none could be judged.
        modes: each damage mode of each part, the likeliest to need replacing first.
        now: chances that any part is so badly off in any of them.
        next: the same after the next runs.
        first: the limit that is reached first; None: no limit.
        passed: service limits that are reached already, the one most used first.
        drift: of oil pressure since the refresh; None: not known.
        gaps: what the record leaves open, the grave first.
        teardowns: of its type that were recorded.
        decision: [decision] of the spec.
    """

    engine_id: str
    at: datetime
    since: datetime | None
    runs: int
    pool: Pool
    verdict: Verdict
    decisive: Decisive | None
    modes: tuple[ModeOutlook, ...]
    now: Chances
    next: Chances
    first: Reach | None
    passed: tuple[Reach, ...]
    drift: Drift | None
    gaps: tuple[Gap, ...]
    teardowns: int
    decision: DecisionSection


def look_ahead(
    engine: EngineState,
    posteriors: Mapping[DamageMode, Posterior],
    *,
    runs: int,
    service: Mapping[str, ServiceLimit],
) -> Outlook:
    """Return the outlook of an engine.

    Args:
        engine: what is known of it.
        posteriors: by damage mode; modes without one are not judged.
        runs: how many runs lie ahead, 1 to MOST_RUNS.
        service: service limits by kind of part.
    """
    ahead = draw_ahead(engine.pool, engine.loads.rates, runs=MOST_RUNS)
    foreseen = forecast(engine.fitted, posteriors, engine.loads, ahead.after(runs))
    lives = life_gauges(engine.fitted, engine.spec.life, ahead, engine.loads)
    services = service_gauges(engine.fitted, service, ahead, engine.loads)
    reached = passed(services)
    gaps = gaps_of(engine.coverage, engine.fitted, engine.pool, engine.spec.life, at=engine.at)
    verdict = decide(
        foreseen,
        engine.spec.decision,
        drift=engine.drift,
        passed=reached,
        in_doubt=any(gap.grave for gap in gaps),
    )
    return Outlook(
        engine_id=engine.engine_id,
        at=engine.at,
        since=engine.since,
        runs=runs,
        pool=engine.pool,
        verdict=verdict,
        decisive=_decisive(verdict, engine, posteriors, ahead, runs),
        modes=foreseen.modes,
        now=foreseen.now,
        next=foreseen.next,
        first=first_reach([*lives, *services]),
        passed=reached,
        drift=engine.drift,
        gaps=gaps,
        teardowns=engine.teardowns,
        decision=engine.spec.decision,
    )


def _decisive(
    verdict: Verdict,
    engine: EngineState,
    posteriors: Mapping[DamageMode, Posterior],
    ahead: Ahead,
    runs: int,
) -> Decisive | None:
    on = verdict.decisive
    if on is None:
        return None
    posterior = posteriors[on.mode]
    blames = blames_of(posterior, on.load, on.like.events_since(on.mode), found=False)
    blame = next((blame for blame in blames if blame.cause != UNLOGGED), None)
    if blame is None:  # the spec gives no life dose to any cause of it
        return None
    if_sound = replace(on.load, unwatched={}, sound_at=on.load.doses, grade=0, worn=None)
    return Decisive(
        blame=blame,
        if_sound=foretell(posterior, if_sound, ahead.after(runs)).then.replace,
        runs_left=_runs_left(on, posterior, ahead, verdict),
        usual_h=engine.usual_h[on.mode.part],
    )


def _runs_left(on: ModeOutlook, posterior: Posterior, ahead: Ahead, verdict: Verdict) -> int | None:
    """Return after how many runs the accepted risk is passed; the chance never falls with them.

    Other damage modes are taken as they stand after the next runs.
    """
    own = risk_after(posterior, on.load)
    others = (1.0 - verdict.chance.p) / max(1.0 - on.next.replace.p, _LEAST)

    def risk(ahead: Mapping[str, FloatArray]) -> float:
        return 1.0 - others * (1.0 - own(ahead))

    below, above = 0, MOST_RUNS + 1
    while above - below > 1:
        middle = (below + above) // 2
        passed_by_then = risk(ahead.after(middle)) > verdict.accepted
        below, above = (below, middle) if passed_by_then else (middle, above)
    return above if above <= MOST_RUNS else None
