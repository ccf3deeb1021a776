"""The outlook of the engines of a logbook, the sheet for taking one apart, and the back-test."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from babbitt.damage.blame import worst_events
from babbitt.damage.ledger import column_of
from babbitt.damage.looks import LikeParts, damaged_grades
from babbitt.damage.prior import missing_lives, priors_of
from babbitt.detect.pressure import PressureSummary, PressureSurface
from babbitt.errors import BabbittError, DamageModelError, RegisterError
from babbitt.jobs.fit import Learned, Learning, rpm_at_peaks
from babbitt.jobs.gather import Gathered, fitted_to, gather
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.records import Build
from babbitt.outlook.ahead import pool_of
from babbitt.outlook.backtest import BackTest, Track, back_test
from babbitt.outlook.circuits import headed_for
from babbitt.outlook.drift import SteadyRun, pressure_drift
from babbitt.outlook.gaps import Coverage
from babbitt.outlook.outlook import EngineState, Outlook, look_ahead
from babbitt.outlook.why import Why, why
from babbitt.register import Session
from babbitt.register.records import builds
from babbitt.register.records.engines import require_engine, spec_of
from babbitt.teardown.sheet import Sheet, make_sheet


@dataclass(frozen=True)
class Outlooks:
    """The outlook of engines.

    Attributes:
        engines: in the order of their IDs.
        rpm_at: engine speed at the peak of the events that are told of, by event id.
        whys: of every damage mode that was looked at in a fleet, by engine.
        left_out: engines of whose type none was logged at the circuit that was asked for.
        faults: why nothing can be said of the others, by engine.
    """

    engines: tuple[Outlook, ...]
    rpm_at: Mapping[str, float]
    whys: Mapping[str, tuple[Why, ...]]
    left_out: tuple[str, ...]
    faults: Mapping[str, BabbittError]


@dataclass(frozen=True, eq=False)
class Known:
    """What the outlook of an engine rests on, however far ahead it looks.

    Attributes:
        build: its build of then.
        state: what is known of it.
        learned: what its fleet makes of its life doses.
    """

    build: Build
    state: EngineState
    learned: Learned

    def headed_for(self, circuit: str) -> Known:
        """Return it for next runs at a circuit; raises as `outlook.circuits.headed_for` does."""
        ledgers = self.learned.fleet.ledgers
        return replace(self, state=headed_for(self.state, ledgers, circuit))


def outlooks(
    book: Logbook,
    engine_id: str | None = None,
    *,
    runs: int,
    at: datetime,
    circuit: str | None = None,
    with_whys: bool = False,
) -> Outlooks:
    """Return the outlook of one engine, or of all.

    Args:
        book: the logbook.
        engine_id: the engine; None: all that were built by then, but for those of whose type none
            was at `circuit`.
        runs: how many runs lie ahead, 1 to MOST_RUNS.
        at: UTC; what came later is not known.
        circuit: where those runs will be; None: nobody says.
        with_whys: tell what was learned, too.

    Raises:
        RegisterError: no such engine, it was not built yet, or no engine that counts was at
            `circuit`; names those that are known.
        SettingsError: the spec of the engine that was asked for cannot be used.
        DamageModelError: the draws of a damage mode of it do not settle.
        LogbookError: the file of a run is missing or damaged.
    """
    with book.register.reading() as session:
        if engine_id is not None:
            require_engine(session, engine_id)
        gathered = gather(session)
        known, faults = known_of(session, gathered, [engine_id] if engine_id else None, at)
    if engine_id in faults:
        raise faults[engine_id]
    headed = known if circuit is None else _all_headed_for(known, circuit)
    found = [
        look_ahead(each.state, each.learned.posteriors, runs=runs, service=book.settings.service)
        for each in headed.values()
    ]
    whys = {
        name: _whys(each.learned, each.state.spec.life)
        for name, each in headed.items()
        if with_whys
    }
    told = [each.decisive.blame for each in found if each.decisive]
    left_out = tuple(name for name in known if name not in headed)
    return Outlooks(tuple(found), rpm_at_peaks(book, worst_events(told)), whys, left_out, faults)


def known_of(
    session: Session, gathered: Gathered, engine_ids: Collection[str] | None, at: datetime
) -> tuple[dict[str, Known], dict[str, BabbittError]]:
    """Return all that the outlooks of engines rest on, however far ahead they look.

    What is wrong with one engine leaves the others as they are.

    Args:
        session: of a transaction.
        gathered: the logbook, read in it.
        engine_ids: the engines; None: all that were built by then.
        at: UTC; what came later is not known.

    Returns:
        What is known, and why nothing can be said of the other engines: their specs cannot be
        used, or the draws of a damage mode do not settle; each by engine.

    Raises:
        RegisterError: an engine was not built yet.
    """
    learning = Learning(gathered, at=at)
    names = gathered.built_by(at) if engine_ids is None else engine_ids
    faults: dict[str, BabbittError] = {
        name: error
        for name, error in gathered.faults.items()
        if engine_ids is None or name in names
    }
    usable = [name for name in names if name not in faults]
    standing = {name: builds.build_at(session, name, at) for name in usable}
    fitted = fitted_to(session, gathered, standing, at)
    known = {}
    for name, build in standing.items():
        try:
            learned = learning.of(name)
            state = state_of(session, gathered, learned, build, fitted[name], at)
        except DamageModelError as error:
            faults[name] = error
        else:
            known[name] = Known(build, state, learned)
    return known, faults


def _all_headed_for(known: Mapping[str, Known], circuit: str) -> dict[str, Known]:
    """Return what outlooks rest on of the engines of whose type some were at a circuit.

    Raises:
        RegisterError: there is none.
    """
    found, refused = {}, []
    for name, each in known.items():
        try:
            found[name] = each.headed_for(circuit)
        except RegisterError as error:
            refused.append(error)
    if refused and not found:
        raise refused[0]
    return found


def sheet_of(book: Logbook, engine_id: str, *, at: datetime) -> tuple[Sheet, Mapping[str, float]]:
    """Return the sheet for taking an engine apart, and the engine speed at the events it tells of.

    Args:
        book: the logbook.
        engine_id: the engine.
        at: UTC; what came later is not known.

    Raises:
        RegisterError: no such engine, or it was not built yet.
        SettingsError: its spec cannot be used.
        DamageModelError: the draws of a damage mode do not settle.
        LogbookError: the file of a run is missing or damaged.
    """
    with book.register.reading() as session:
        spec_of(session, engine_id)
        gathered = gather(session)
        learned = Learning(gathered, at=at).of(engine_id)
        build = builds.build_at(session, engine_id, at)
        fitted = fitted_to(session, gathered, [engine_id], at)[engine_id]
    sheet = sheet_from(gathered, learned, fitted, engine_id, at=at, since=build.since)
    told = [item.blame for item in sheet.items if item.blame]
    return sheet, rpm_at_peaks(book, worst_events(told))


def sheet_from(
    gathered: Gathered,
    learned: Learned,
    fitted: Iterable[LikeParts],
    engine_id: str,
    *,
    at: datetime,
    since: datetime | None,
) -> Sheet:
    """Return the sheet for taking an engine apart, from what is known.

    Args:
        gathered: the logbook.
        learned: of the engine's fleet.
        fitted: its parts.
        engine_id: the engine.
        at: UTC; what came later is not known.
        since: UTC, its last refresh; None: since it came into the logbook.
    """
    bad = damaged_grades()
    mates = learned.fleet.ledgers
    finds = {
        (look.finding_id, look.part, look.position)
        for look in gathered.looks
        if look.engine_id in mates and look.at <= at and look.grade in bad and look.position
    }
    return make_sheet(
        engine_id,
        fitted,
        learned.posteriors,
        learned.loads,
        layout=gathered.specs[engine_id].engine.arrangement,
        found_before=Counter((part, position or "") for _, part, position in finds),
        at=at,
        since=since,
        teardowns=learned.fleet.teardowns,
    )


def back_test_of(book: Logbook, *, track: Track = lambda items, _: items) -> BackTest:
    """Forecast each teardown of a logbook from what was known before it, and score that.

    Args:
        book: the logbook.
        track: see `back_test`.

    Raises:
        DamageModelError: the draws of a damage mode do not settle.
    """
    with book.register.reading() as session:
        gathered = gather(session)
    types = {spec.engine.type: name for name, spec in gathered.specs.items()}
    return back_test([gathered.fleet_of(name) for name in types.values()], track=track)


def state_of(
    session: Session,
    gathered: Gathered,
    learned: Learned,
    build: Build,
    fitted: tuple[LikeParts, ...],
    at: datetime,
) -> EngineState:
    """Return what is known of an engine in a build, at an instant.

    Args:
        session: of a transaction.
        gathered: the logbook.
        learned: of the engine's fleet.
        build: the engine's build of then.
        fitted: its parts.
        at: UTC, when.
    """
    engine_id = build.engine_id
    spec = gathered.specs[engine_id]
    ledger = gathered.ledgers[engine_id]
    return EngineState(
        engine_id=engine_id,
        at=at,
        since=build.since,
        spec=spec,
        fitted=fitted,
        pool=pool_of(ledger, build.since, at, learned.fleet.ledgers.values()),
        loads=learned.loads,
        coverage=_coverage(gathered, build, at),
        drift=pressure_drift(
            steady_runs(session, gathered, build, at),
            above_rpm=spec.oil_pressure.floor_above_rpm,
        ),
        teardowns=learned.fleet.teardowns,
        usual_h=learned.usual_h,
    )


def _coverage(gathered: Gathered, build: Build, at: datetime) -> Coverage:
    name = build.engine_id
    spec, ledger = gathered.specs[name], gathered.ledgers[name]
    inside = ledger.within(build.since, at)
    running_h = float(ledger.running_h[inside].sum())
    unwatched_h = ledger.unwatched_h[inside].sum(axis=0)
    runs = [each for each in gathered.runs[name] if _is_of(build, each.started_at, at)]
    events = [each for each in gathered.events[name] if _is_of(build, each.run_started_at, at)]
    unlived: dict[Kind, list[tuple[str, str]]] = {}
    for mode in (mode for part in parts().values() for mode in part.modes.values()):
        for kind in missing_lives(mode, spec.life):
            unlived.setdefault(kind, []).append((mode.part, mode.name))
    return Coverage(
        runs=len(runs),
        unlogged_s=3600.0 * float(ledger.running_h[inside & ~ledger.logged].sum()),
        watched_share={
            kind: 1.0 - float(unwatched_h[column_of(kind)]) / running_h
            for kind in KINDS
            if running_h > 0.0
        },
        stale=sum(each.event.spec_version != spec.version() for each in events),
        unjudged=sum(not each.judged for each in runs),
        last_run=runs[-1].started_at if runs else None,
        unlived={kind: tuple(modes) for kind, modes in unlived.items()},
    )


def steady_runs(
    session: Session, gathered: Gathered, build: Build, at: datetime
) -> tuple[SteadyRun, ...]:
    """Return the steady oil pressure of a build's runs, beside what its first runs gave.

    Args:
        session: of a transaction.
        gathered: the logbook.
        build: the build.
        at: UTC; runs that started later are left out.

    Returns:
        In the order of their start; empty while the build has no surface of its own.
    """
    record = builds.surface_of(session, build)
    if record is None:
        return ()
    surface = PressureSurface.from_json(record.text)
    ledger = gathered.ledgers[build.engine_id]
    inside = ledger.within(build.since, at)
    hours = np.where(inside, ledger.running_h, 0.0).cumsum() - 0.5 * ledger.running_h
    middle = {
        run_id: at_hours
        for run_id, at_hours, known in zip(ledger.run_ids, hours.tolist(), inside, strict=True)
        if known
    }
    steady = []
    for run_id, text in builds.steady_pressures(session, build):
        summary = PressureSummary.from_json(text.partition("\n")[2])
        if summary.bins and run_id in middle:
            rpm, oil_c, kpa, seconds = np.array(
                [(bin_.rpm, bin_.oil_c, bin_.kpa, bin_.seconds) for bin_ in summary.bins]
            ).T
            expected = surface.expected(rpm.astype(np.float32), oil_c.astype(np.float32))
            ratio = np.log(kpa / expected.astype(np.float64))
            steady.append(SteadyRun(run_id, middle[run_id], rpm, oil_c, seconds, ratio))
    return tuple(steady)


def _is_of(build: Build, started_at: datetime, at: datetime) -> bool:
    """Tell whether a run is of a build, and started before an instant."""
    return (build.since is None or build.since <= started_at) and started_at < at


def _whys(learned: Learned, life: LifeSection) -> tuple[Why, ...]:
    """Return what was learned of every damage mode that was looked at."""
    found = []
    for mode, posterior in learned.posteriors.items():
        if posterior.observations:
            priors = priors_of(mode, life, strip_interval_h=learned.usual_h[mode.part])
            found.append(why(mode, priors, learned.found[mode], posterior))
    return tuple(found)
