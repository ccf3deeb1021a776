"""Findings as the damage model learns from them: what a part had run when it was looked at.

A tracked part has what it ran in all its fitments, in whatever engine. One that nobody tracks has
what its engine ran since the build began, or since an earlier build where it is known to have been
used again: the build sheet says so, or, where the sheet is silent, the finding before. Reworking
makes a part new.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from babbitt.model.damage_modes import grades, part_named
from babbitt.model.part_records import (
    FindingRecord,
    FitmentRecord,
    Look,
    SheetLine,
    Standing,
    Stretch,
)
from babbitt.model.records import Build
from babbitt.register.records.builds import all_builds, build_ended_at
from babbitt.register.records.engines import require_engine
from babbitt.register.records.fitments import list_fitments, was_in
from babbitt.register.records.sheets import lines_of
from babbitt.register.records.teardowns import findings_of


@dataclass(frozen=True)
class _Lives:
    """What is written down of the lives of parts.

    Attributes:
        builds: of every engine, oldest first.
        fitments: by engine and kind of part.
        of_part: fitments by part, oldest first.
        lines: of build sheets, by engine and refresh.
        findings: by engine and kind of part, oldest first.
        renewed: when a tracked part was reworked.
    """

    builds: Mapping[str, tuple[Build, ...]]
    fitments: Mapping[tuple[str, str], list[FitmentRecord]]
    of_part: Mapping[str, list[FitmentRecord]]
    lines: Mapping[tuple[str, int | None], list[SheetLine]]
    findings: Mapping[tuple[str, str], list[FindingRecord]]
    renewed: Mapping[str, list[datetime]]


@dataclass(frozen=True)
class _Piece:
    """One part at a place, told from those that sat there before it.

    Attributes:
        part_id: the tracked part; None: nobody tracks it.
        position: where it sits.
        key: the same for the same part, as long as it is not reworked.
        slot: which of several that share the key; None: it has the key alone.
        stretches: what it ran.
    """

    part_id: str | None
    position: str | None
    key: tuple[object, ...]
    slot: str | None
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class _Seen:
    """The newest look at a piece for one damage mode, and whether any found damage."""

    finding: FindingRecord
    stretches: tuple[Stretch, ...]
    ever_damaged: bool

    @property
    def damaged(self) -> bool:
        return grades()[self.finding.finding.grade].damaged


class _Memory:
    """What the looks so far have shown of each piece."""

    def __init__(self) -> None:
        self._seen: dict[tuple[object, ...], _Seen] = {}

    def of(self, piece: _Piece, mode: str) -> _Seen | None:
        """Return the newest look at a piece; one at every piece of its key is one at it too."""
        keys = [(piece.key, mode, slot) for slot in {piece.slot, None}]
        seen = [self._seen[key] for key in keys if key in self._seen]
        if not seen:
            return None
        newest = max(seen, key=lambda each: (each.finding.teardown.at, each.finding.finding_id))
        return _Seen(newest.finding, newest.stretches, any(each.ever_damaged for each in seen))

    def add(self, piece: _Piece, mode: str, finding: FindingRecord) -> None:
        """Keep a look at a piece."""
        before = self.of(piece, mode)
        damaged = grades()[finding.finding.grade].damaged or bool(before and before.ever_damaged)
        self._seen[piece.key, mode, piece.slot] = _Seen(finding, piece.stretches, damaged)


def looks(session: Session, *, engine_id: str | None = None) -> tuple[Look, ...]:
    """Return every look at a part, oldest first: one for each finding, part and damage mode.

    The number of queries does not depend on how much is written down.

    Args:
        session: of a transaction.
        engine_id: only those at this engine; what its parts ran elsewhere is in them.

    Raises:
        RegisterError: no such engine.
    """
    if engine_id is not None:
        require_engine(session, engine_id)
    found, _ = _recall(_lives(session))
    return tuple(look for look in found if engine_id in (None, look.engine_id))


def standing(
    session: Session,
    engine_id: str,
    places: Iterable[tuple[str, str | None]],
    *,
    at: datetime,
) -> tuple[Standing, ...]:
    """Return the parts that sit at places of an engine, with what is known of each.

    Args:
        session: of a transaction.
        engine_id: the engine.
        places: kinds of part and positions; None: every one of the kind.
        at: as it stands just before then; later looks are not known.

    Raises:
        RegisterError: no such engine or kind of part.
    """
    return standings(session, {engine_id: tuple(places)}, at=at)[engine_id]


def standings(
    session: Session, places: Mapping[str, Sequence[tuple[str, str | None]]], *, at: datetime
) -> dict[str, tuple[Standing, ...]]:
    """Return what `standing` does for several engines, by engine, in as many queries as for one.

    Args:
        session: of a transaction.
        places: engine -> kinds of part and positions.
        at: as it stands just before then; later looks are not known.

    Raises:
        RegisterError: no such engine or kind of part.
    """
    for engine_id in places:
        require_engine(session, engine_id)
    lives = _lives(session)
    _, memory = _recall(lives, until=at)
    return {
        engine_id: tuple(
            _standing(part, piece, memory)
            for part, position in theirs
            for piece in _pieces(lives, engine_id, part_named(part).name, position, at)
        )
        for engine_id, theirs in places.items()
    }


def _recall(lives: _Lives, *, until: datetime | None = None) -> tuple[list[Look], _Memory]:
    """Go through the findings of teardowns before an instant, oldest first; None: through all."""
    memory = _Memory()
    found: list[Look] = []
    every = [
        finding
        for findings in lives.findings.values()
        for finding in findings
        if until is None or finding.teardown.at < until
    ]
    for each in sorted(every, key=lambda each: (each.teardown.at, each.finding_id)):
        seen = each.finding
        modes = [seen.damage_mode] if seen.damage_mode else list(part_named(seen.part).modes)
        teardown = each.teardown
        for piece in _pieces(lives, teardown.engine_id, seen.part, seen.position, teardown.at):
            for mode in modes:
                before = memory.of(piece, mode)
                found.append(
                    Look(
                        finding_id=each.finding_id,
                        engine_id=teardown.engine_id,
                        at=teardown.at,
                        part=seen.part,
                        position=piece.position,
                        part_id=piece.part_id,
                        mode=mode,
                        grade=seen.grade,
                        stretches=piece.stretches,
                        sound_until=before.stretches if before and not before.damaged else (),
                        damaged_before=before is not None and before.ever_damaged,
                    )
                )
                memory.add(piece, mode, each)
    return found, memory


def _standing(part: str, piece: _Piece, memory: _Memory) -> Standing:
    seen = {
        mode: before
        for mode in part_named(part).modes
        for before in [memory.of(piece, mode)]
        if before is not None
    }
    return Standing(
        part=part,
        position=piece.position,
        part_id=piece.part_id,
        stretches=piece.stretches,
        grades={mode: before.finding.finding.grade for mode, before in seen.items()},
        finding_ids={mode: before.finding.finding_id for mode, before in seen.items()},
        looked_until={mode: before.stretches for mode, before in seen.items()},
    )


def _lives(session: Session) -> _Lives:
    fitments: dict[tuple[str, str], list[FitmentRecord]] = defaultdict(list)
    of_part: dict[str, list[FitmentRecord]] = defaultdict(list)
    for fitment in list_fitments(session):
        fitments[fitment.engine_id, fitment.kind].append(fitment)
        of_part[fitment.part_id].append(fitment)
    lines: dict[tuple[str, int | None], list[SheetLine]] = defaultdict(list)
    for recorded in lines_of(session):
        lines[recorded.engine_id, recorded.refresh_id].append(recorded.line)
    findings: dict[tuple[str, str], list[FindingRecord]] = defaultdict(list)
    for finding in findings_of(session):
        findings[finding.teardown.engine_id, finding.finding.part].append(finding)
    builds = all_builds(session)
    renewed: dict[str, list[datetime]] = defaultdict(list)
    for build in (build for each in builds.values() for build in each):
        for line in lines[build.engine_id, build.refresh_id]:
            if line.action == "reworked" and build.since is not None:
                for part_id in _reworked(fitments, build.engine_id, line, build.since):
                    renewed[part_id].append(build.since)
    return _Lives(builds, fitments, of_part, lines, findings, renewed)


def _reworked(
    fitments: Mapping[tuple[str, str], list[FitmentRecord]],
    engine_id: str,
    line: SheetLine,
    at: datetime,
) -> list[str]:
    """Return the tracked parts that a line speaks of; a set is not new for one of its pieces."""
    if line.part_id is not None:
        return [line.part_id]
    return [
        fitment.part_id
        for fitment in fitments.get((engine_id, line.part), ())
        if line.position in (None, fitment.position)
        and fitment.since <= at
        and (fitment.until is None or fitment.until > at)
    ]


def _pieces(
    lives: _Lives, engine_id: str, part: str, position: str | None, at: datetime
) -> list[_Piece]:
    """Return the parts that sat at a place just before an instant."""
    tracked = [
        fitment
        for fitment in lives.fitments.get((engine_id, part), ())
        if was_in(fitment, engine_id, part, position, at)
    ]
    if not tracked:
        since = _untracked_since(lives, engine_id, part, position, at)
        key = (engine_id, part, since)
        return [_Piece(None, position, key, position, (Stretch(engine_id, since, at),))]
    pieces = []
    for fitment in tracked:
        part_id = fitment.part_id
        renewed = max((then for then in lives.renewed.get(part_id, ()) if then < at), default=None)
        pieces.append(
            _Piece(
                part_id=part_id,
                position=fitment.position or position,
                key=(part_id, renewed),
                slot=position if fitment.position is None else None,
                stretches=_stretches(lives.of_part[part_id], renewed, at),
            )
        )
    return pieces


def _stretches(
    fitments: Iterable[FitmentRecord], renewed: datetime | None, at: datetime
) -> tuple[Stretch, ...]:
    found = []
    for fitment in fitments:
        since = fitment.since if renewed is None else max(fitment.since, renewed)
        until = at if fitment.until is None else min(fitment.until, at)
        if since < until:
            found.append(Stretch(fitment.engine_id, since, until))
    return tuple(found)


def _untracked_since(
    lives: _Lives, engine_id: str, part: str, position: str | None, at: datetime
) -> datetime | None:
    builds = lives.builds[engine_id]
    build = build_ended_at(builds, at)
    while build.number > 1 and _was_carried_over(lives, build, part, position):
        build = builds[build.number - 2]
    return build.since


def _was_carried_over(lives: _Lives, build: Build, part: str, position: str | None) -> bool:
    """Tell whether a part came into a build from the one before it as it was."""
    actions = [
        line.action
        for line in lives.lines.get((build.engine_id, build.refresh_id), ())
        if line.part == part and (position is None or line.position in (None, position))
    ]
    if actions:
        return all(action == "reused" for action in actions)
    before = [
        finding.finding.disposition
        for finding in lives.findings.get((build.engine_id, part), ())
        if finding.teardown.build_number == build.number - 1
        and finding.finding.position in (None, position)
    ]
    return bool(before) and before[-1] == "reuse"
