"""The match of a teardown: what each finding is owed to, and what deserves another look."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from babbitt.damage.attribution import Found, LookAgain, Match, Spared, explain, look_again
from babbitt.damage.blame import worst_events
from babbitt.damage.looks import LikeParts, damaged_grades
from babbitt.damage.model import Load
from babbitt.errors import RegisterError
from babbitt.jobs.fit import Learned, Learning, rpm_at_peaks
from babbitt.jobs.gather import Gathered, fitted_to, gather
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import mode_named, parts
from babbitt.model.part_records import FindingRecord, Look, Stretch, TeardownRecord
from babbitt.model.records import DatedEvent
from babbitt.register.records.teardowns import findings_of


@dataclass(frozen=True)
class TeardownMatch:
    """A teardown explained.

    Attributes:
        teardown: the teardown.
        matches: each finding of damage with its causes, in the order of the findings.
        unjudged: findings of damage whose mode needs a life dose that the spec does not state.
        look_again: parts without damage found that the log gives reason to suspect.
        rpm_at: engine speed at the peak of the events that are told of, by event id.
    """

    teardown: TeardownRecord
    matches: tuple[Match, ...]
    unjudged: tuple[FindingRecord, ...]
    look_again: tuple[LookAgain, ...]
    rpm_at: Mapping[str, float]


def match_teardown(book: Logbook, engine_id: str, *, at: datetime | None = None) -> TeardownMatch:
    """Explain the newest teardown of an engine by its logs and all that the fleet has shown.

    Args:
        book: the logbook.
        engine_id: the engine.
        at: the newest teardown by then, UTC; None: the newest of all.

    Raises:
        RegisterError: no such engine, or it has no such teardown.
        DamageModelError: the draws of a damage mode do not settle.
        LogbookError: the file of a run is missing or damaged.
    """
    with book.register.reading() as session:
        findings = findings_of(session, engine_id)
        gathered = gather(session)
        teardown = newest_teardown(gathered.teardowns, engine_id, at)
        fitted = fitted_to(session, gathered, [engine_id], teardown.at)[engine_id]
    learned = Learning(gathered).of(engine_id)
    found = explain_teardown(gathered, learned, teardown, findings, fitted)
    told = [each.blames[0] for each in found.matches] + [each.blame for each in found.look_again]
    return replace(found, rpm_at=rpm_at_peaks(book, worst_events(told)))


def explain_teardown(
    gathered: Gathered,
    learned: Learned,
    teardown: TeardownRecord,
    findings: Iterable[FindingRecord],
    fitted: Iterable[LikeParts],
) -> TeardownMatch:
    """Explain a teardown, without the engine speed at its events.

    Args:
        gathered: the logbook.
        learned: of the engine's fleet.
        teardown: the teardown.
        findings: of it, and of others.
        fitted: the parts that sat in the engine.
    """
    looks = gathered.looks_of.get((teardown.engine_id, teardown.at), ())
    matches, unjudged = explain_findings(gathered, learned, teardown, findings)
    harmed = {each.finding.part for each in matches} | {each.finding.part for each in unjudged}
    spared = [
        *_sound(looks, harmed, gathered, learned),
        *_not_looked_at(fitted, {each.part for each in looks}, learned),
    ]
    return TeardownMatch(
        teardown=teardown,
        matches=matches,
        unjudged=unjudged,
        look_again=look_again(spared, learned.posteriors),
        rpm_at={},
    )


def explain_findings(
    gathered: Gathered,
    learned: Learned,
    teardown: TeardownRecord,
    findings: Iterable[FindingRecord],
) -> tuple[tuple[Match, ...], tuple[FindingRecord, ...]]:
    """Return the findings of damage of a teardown with their causes, and those not judged.

    Args:
        gathered: the logbook.
        learned: of the engine's fleet.
        teardown: the teardown.
        findings: of it, and of others.
    """
    bad = damaged_grades()
    looks = gathered.looks_of.get((teardown.engine_id, teardown.at), ())
    damage = [
        each
        for each in findings
        if each.teardown.teardown_id == teardown.teardown_id and each.finding.grade in bad
    ]
    matches, unjudged = [], []
    for each in damage:
        mode = mode_named(each.finding.part, each.finding.damage_mode or "")
        if mode in learned.posteriors:
            found = _found(each, looks, gathered, learned)
            matches.append(explain(found, learned.posteriors[mode]))
        else:
            unjudged.append(each)
    return tuple(matches), tuple(unjudged)


def newest_teardown(
    teardowns: Sequence[TeardownRecord], engine_id: str, at: datetime | None
) -> TeardownRecord:
    """Return the newest teardown of an engine by an instant, UTC; None: of all.

    Raises:
        RegisterError: it has none.
    """
    theirs = [each for each in teardowns if each.engine_id == engine_id]
    known = [each for each in theirs if at is None or each.at <= at]
    if known:
        return known[-1]
    when = " by then" if theirs else ""
    raise RegisterError(
        f"No teardown of {engine_id} is recorded{when}: `babbitt teardown record {engine_id} --at "
        "WHEN --findings FILE` does it."
    )


def _found(
    record: FindingRecord, looks: Iterable[Look], gathered: Gathered, learned: Learned
) -> Found:
    """Return a finding and what its part had been through: of several, the one that ran most."""
    mode = record.finding.damage_mode
    theirs = [each for each in looks if each.part == record.finding.part and each.mode == mode]
    bad = damaged_grades()
    mine = max(
        (each for each in theirs if each.finding_id == record.finding_id),
        key=lambda look: gathered.taken(look).running_h,
    )
    return Found(
        finding_id=record.finding_id,
        finding=record.finding,
        load=_load(mine, gathered, learned),
        events=_events(mine, gathered),
        spared=tuple(each.position for each in theirs if each.position and each.grade not in bad),
    )


def _sound(
    looks: Iterable[Look], harmed: set[str], gathered: Gathered, learned: Learned
) -> Iterable[Spared]:
    """Yield parts that were found sound, those that had run alike together."""
    sets: dict[tuple[str, str, tuple[Stretch, ...], tuple[Stretch, ...]], list[Look]]
    sets = defaultdict(list)
    for look in looks:
        if look.part not in harmed:
            sets[look.part, look.mode, look.stretches, look.sound_until].append(look)
    count = {part: len({key[2:] for key in sets if key[0] == part}) for part in parts()}
    for (part, mode, _, _), members in sets.items():
        positions = tuple(look.position for look in members)
        yield Spared(
            mode=mode_named(part, mode),
            positions=positions if count[part] > 1 else (None,),
            load=_load(members[0], gathered, learned),
            events=_events(members[0], gathered),
            looked_at=True,
        )


def _not_looked_at(
    fitted: Iterable[LikeParts], seen: set[str], learned: Learned
) -> Iterable[Spared]:
    """Yield parts of which no finding speaks."""
    for like in fitted:
        if like.part in seen:
            continue
        for mode in parts()[like.part].modes.values():
            if mode.name not in like.went_back:
                load, events = like.load(mode, learned.loads), like.events_since(mode)
                yield Spared(mode, like.positions, load, events, looked_at=False)


def _load(look: Look, gathered: Gathered, learned: Learned) -> Load:
    return learned.loads.of(gathered.taken(look), gathered.sound(look))


def _events(look: Look, gathered: Gathered) -> tuple[DatedEvent, ...]:
    """Return the events since a part was new, or since it was last found sound."""
    events = gathered.lives.events(look.stretches)
    if not look.sound_until:
        return events
    return tuple(each for each in events if each.run_started_at >= look.sound_until[-1].until)
