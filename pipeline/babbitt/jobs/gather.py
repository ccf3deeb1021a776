"""All that the damage model needs of a logbook, read in one go."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from babbitt.damage.fleet import BuildSpan, Fleet
from babbitt.damage.ledger import Ledger, Taken, make_ledger
from babbitt.damage.looks import (
    LastLook,
    LikeParts,
    Lives,
    damaged_grades,
    seen_in,
    wear_share,
)
from babbitt.errors import SettingsError
from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.finding import Disposition
from babbitt.model.part_records import (
    FindingRecord,
    HistoryRecord,
    Look,
    RecordedMeasurement,
    Standing,
    TeardownRecord,
)
from babbitt.model.positions import positions_of
from babbitt.model.records import Build, DatedEvent
from babbitt.register import Session
from babbitt.register.queries.looks import looks, standings
from babbitt.register.queries.run_exposures import RunExposure, run_exposures
from babbitt.register.records import builds, engines, events, history, sheets, teardowns
from babbitt.register.records.fitments import list_fitments


@dataclass(frozen=True, eq=False)
class Gathered:
    """What a logbook holds of engines, runs, events and teardowns.

    Attributes:
        specs: in force, by engine; without those that cannot be used.
        faults: what is wrong with those, by engine.
        builds: oldest first, by engine of `specs`.
        runs: in the order of their start, by engine.
        events: in the same order, by engine.
        ledgers: by engine.
        lives: of parts.
        looks: oldest first.
        teardowns: oldest first.
        dispositions: what became of the part of each finding, by number of the finding.
        worn: share of its allowance that was measured as gone, by number of the finding; those
            without limit or as-built value are left out.
        histories_h: running hours of tracked parts from before they were first fitted, with when
            that was.
    """

    specs: Mapping[str, EngineSpec]
    faults: Mapping[str, SettingsError]
    builds: Mapping[str, tuple[Build, ...]]
    runs: Mapping[str, Sequence[RunExposure]]
    events: Mapping[str, Sequence[DatedEvent]]
    ledgers: Mapping[str, Ledger]
    lives: Lives
    looks: tuple[Look, ...]
    teardowns: tuple[TeardownRecord, ...]
    dispositions: Mapping[int, Disposition]
    worn: Mapping[int, float]
    histories_h: Mapping[str, tuple[float, datetime]]

    def fleet_of(self, engine_id: str, *, at: datetime | None = None) -> Fleet:
        """Return the engines of the type of an engine, with what was known by an instant."""
        kind = self.specs[engine_id].engine.type
        mates = [name for name, spec in self.specs.items() if spec.engine.type == kind]
        known = [
            look for look in self.looks if look.engine_id in mates and (at is None or look.at <= at)
        ]
        return Fleet(
            ledgers={name: self.ledgers[name] for name in mates},
            seen=seen_in(known, self.lives, self.own_history_h, self.dispositions, self.worn),
            builds=tuple(self._span(build) for name in mates for build in self.builds[name]),
            lives={name: self.specs[name].life for name in mates},
        )

    @cached_property
    def looks_of(self) -> Mapping[tuple[str, datetime], Sequence[Look]]:
        """The looks of each teardown, by engine and instant."""
        found: dict[tuple[str, datetime], list[Look]] = defaultdict(list)
        for look in self.looks:
            found[look.engine_id, look.at].append(look)
        return found

    def built_by(self, at: datetime) -> list[str]:
        """Return the engines that were there at an instant."""
        begun = {name: builds_of[0].since for name, builds_of in self.builds.items()}
        return [name for name, since in begun.items() if since is None or since <= at]

    def taken(self, look: Look) -> Taken:
        """Return what the part of a look had taken."""
        return self.lives.taken(look.stretches, self.own_history_h(look))

    def sound(self, look: Look) -> Taken | None:
        """Return what it had taken by the look before, if that found it sound."""
        if not look.sound_until:
            return None
        return self.lives.taken(look.sound_until, self.own_history_h(look))

    def own_history_h(self, look: Look | Standing) -> float:
        """Return what a part ran before it was first fitted; 0 where it was reworked since."""
        hours, first = self.histories_h.get(look.part_id or "", (0.0, None))
        begins = look.stretches[0].since if look.stretches else None
        return hours if first is not None and begins == first else 0.0

    def _span(self, build: Build) -> BuildSpan:
        ends = [
            teardown.at
            for teardown in self.teardowns
            if teardown.engine_id == build.engine_id and teardown.build_number == build.number
        ]
        return BuildSpan(build.engine_id, build.since, ends[-1] if ends else build.until)


def gather(session: Session) -> Gathered:
    """Read all that the damage model needs; the number of queries does not depend on how much."""
    specs, faults = engines.specs_of(engines.list_engines(session))
    names = [*specs, *faults]
    runs: dict[str, list[RunExposure]] = defaultdict(list)
    for run in run_exposures(session, names):
        runs[run.engine_id].append(run)
    found: dict[str, list[DatedEvent]] = defaultdict(list)
    for dated in events.list_events(session):
        found[dated.event.engine_id].append(dated)
    histories = history.list_history(session)
    ledgers = {
        name: make_ledger(
            name,
            runs[name],
            [dated.event for dated in found[name]],
            [each for each in histories if each.engine_id == name],
        )
        for name in names
    }
    built = builds.all_builds(session)
    findings = teardowns.findings_of(session)
    return Gathered(
        specs=specs,
        faults=faults,
        builds={name: theirs for name, theirs in built.items() if name in specs},
        runs=runs,
        events=found,
        ledgers=ledgers,
        lives=Lives(ledgers, found),
        looks=looks(session),
        teardowns=teardowns.teardowns_of(session),
        dispositions={each.finding_id: each.finding.disposition for each in findings},
        worn=_measured_wear(findings, built, sheets.measurements_of(session)),
        histories_h=_part_histories(session, histories),
    )


def fitted_to(
    session: Session, gathered: Gathered, engine_ids: Iterable[str], at: datetime
) -> dict[str, tuple[LikeParts, ...]]:
    """Return the parts that sat in engines just before an instant, by engine.

    Parts that nobody tracks are taken as one of each kind, or one a cylinder.

    Args:
        session: of a transaction.
        gathered: the logbook.
        engine_ids: the engines.
        at: UTC, when.
    """
    places = {name: _places(gathered.specs[name].engine.arrangement) for name in engine_ids}
    there = standings(session, places, at=at)
    return {name: like_parts(gathered, name, found) for name, found in there.items()}


def _places(layout: EngineLayout) -> list[tuple[str, str | None]]:
    places: list[tuple[str, str | None]] = []
    for name, part in parts().items():
        if part.position == "cylinder":
            places += [(name, position) for position in positions_of(name, layout)]
        else:
            places.append((name, None))
    return places


def like_parts(
    gathered: Gathered, engine_id: str, standings: Iterable[Standing]
) -> tuple[LikeParts, ...]:
    """Return the parts that sit in an engine, those that have run alike together.

    Args:
        gathered: the logbook.
        engine_id: the engine.
        standings: each part and what is known of it.
    """
    bad = damaged_grades()
    sets: dict[object, list[Standing]] = defaultdict(list)
    for each in standings:
        went_back = tuple(
            (mode, grade, gathered.worn.get(each.finding_ids[mode]))
            for mode, grade in each.grades.items()
            if grade in bad
        )
        looked = tuple(each.looked_until.items())
        key = each.part, each.stretches, gathered.own_history_h(each), looked, went_back
        sets[key].append(each)
    alone: dict[str, int] = defaultdict(int)
    for members in sets.values():
        alone[members[0].part] += 1
    return tuple(
        _like(gathered, engine_id, members, named=alone[members[0].part] > 1)
        for members in sets.values()
    )


def _like(
    gathered: Gathered, engine_id: str, members: Sequence[Standing], *, named: bool
) -> LikeParts:
    """Return like parts; positions are named only where not all of the engine's are alike."""
    first, lives = members[0], gathered.lives
    own_h = gathered.own_history_h(first)
    return LikeParts(
        engine_id=engine_id,
        part=first.part,
        positions=tuple(each.position for each in members) if named else (None,),
        count=len(members),
        now=lives.taken(first.stretches, own_h),
        events=lives.events(first.stretches),
        looked={
            mode: LastLook(
                at=until[-1].until,
                taken=lives.taken(until, own_h),
                grade=first.grades[mode],
                worn=gathered.worn.get(first.finding_ids[mode]),
            )
            for mode, until in first.looked_until.items()
            if until
        },
    )


def _measured_wear(
    findings: Iterable[FindingRecord],
    builds_of: Mapping[str, Sequence[Build]],
    measured: Iterable[RecordedMeasurement],
) -> dict[int, float]:
    """Return the share of its allowance that each measured part has worn; see `Gathered.worn`.

    The allowance reaches from what was measured in the build to the limit on that side.
    """
    as_built = {
        (each.engine_id, each.refresh_id, built.part, built.position, built.measurement.name): built
        for each in measured
        for built in [each.built]
    }
    worn = {}
    for record in findings:
        found, teardown = record.finding, record.teardown
        gauged = found.measurement
        if gauged is None:
            continue
        build = builds_of[teardown.engine_id][teardown.build_number - 1]
        key = teardown.engine_id, build.refresh_id, found.part, found.position, gauged.name
        new = as_built.get(key)
        if new is not None and new.measurement.unit == gauged.unit:
            share = wear_share(new.measurement.value, gauged)
            if share is not None:
                worn[record.finding_id] = share
    return worn


def _part_histories(
    session: Session, histories: Iterable[HistoryRecord]
) -> dict[str, tuple[float, datetime]]:
    first: dict[str, datetime] = {}
    for fitment in list_fitments(session):
        first.setdefault(fitment.part_id, fitment.since)
    hours: dict[str, float] = defaultdict(float)
    for each in histories:
        if each.part_id is not None:
            hours[each.part_id] += each.running_s / 3600.0
    return {part: (hours[part], first[part]) for part in hours if part in first}
