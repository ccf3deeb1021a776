"""Looks at parts, as the damage model learns from them.

Like parts that ran alike are one look: a life dose is that of an engine, not of one of its four
rod bearings. They were damaged if any was, and sound if all that were looked at were.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from babbitt.damage.gradual import Piece, PieceLook
from babbitt.damage.ledger import Ledger, Loads, Taken, taken_in
from babbitt.damage.model import Load, Observation
from babbitt.model.damage_modes import DamageMode, grades, mode_named
from babbitt.model.finding import Disposition, Measurement
from babbitt.model.part_records import Look, Stretch
from babbitt.model.records import DatedEvent


@dataclass(frozen=True)
class SeenPiece:
    """What a look found on one piece.

    Attributes:
        key: the same for all looks at the piece.
        grade: 0 sound to 4 failed.
        worn: share of its allowance that was measured as gone; None: not measured.
    """

    key: tuple[object, ...]
    grade: int
    worn: float | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """One look at like parts of an engine that ran alike, for one damage mode.

    Attributes:
        engine_id: the engine that was taken apart.
        at: UTC, when.
        mode: that was looked for.
        positions: where they sat; None: the only one, or every one.
        now: what they had taken since they were new.
        sound: what they had taken by the last look that found them sound; None: the first look.
        pieces: what was found on each.
        begun: engine and UTC in and at which their running began; the same for all looks at them.
        fitted_again: whether all of them were fitted again as they were.
    """

    engine_id: str
    at: datetime
    mode: DamageMode
    positions: tuple[str | None, ...]
    now: Taken
    sound: Taken | None
    pieces: tuple[SeenPiece, ...]
    begun: tuple[str, datetime | None]
    fitted_again: bool

    @property
    def damaged(self) -> bool:
        """Whether any was found damaged."""
        return any(piece.grade in damaged_grades() for piece in self.pieces)


@dataclass(frozen=True, eq=False)
class LastLook:
    """The last look at parts before they were fitted again.

    Attributes:
        at: UTC, when.
        taken: what they had taken by then.
        grade: that was found.
        worn: share of their allowance that was measured as gone; None: not measured.
    """

    at: datetime
    taken: Taken
    grade: int = 0
    worn: float | None = None


@dataclass(frozen=True, eq=False)
class LikeParts:
    """Like parts that sit in an engine and have run alike.

    Attributes:
        engine_id: the engine.
        part: kind of part of schemas/causes.toml.
        positions: where they sit; None: the only one, or every one.
        count: how many there are.
        now: what they have taken since they were new.
        events: in the runs that they took it in.
        looked: damage mode -> the last look at them; modes that were not looked at are left out.
    """

    engine_id: str
    part: str
    positions: tuple[str | None, ...]
    count: int
    now: Taken
    events: tuple[DatedEvent, ...]
    looked: Mapping[str, LastLook]

    @property
    def went_back(self) -> Mapping[str, int]:
        """Damage mode -> grade of damage that was found before they were fitted again."""
        bad = damaged_grades()
        return {mode: look.grade for mode, look in self.looked.items() if look.grade in bad}

    def load(self, mode: DamageMode, loads: Loads) -> Load:
        """Return what they have taken as the model of a damage mode reads it."""
        look = self.looked.get(mode.name)
        load = loads.of(self.now, look.taken if look else None)
        if look is None:
            return loads.fitted(load, self.engine_id, self.count)
        return loads.fitted(load, self.engine_id, self.count, look.grade, look.worn)

    def events_since(self, mode: DamageMode) -> tuple[DatedEvent, ...]:
        """Return the events since the last look at them for a damage mode found them sound."""
        look = self.looked.get(mode.name)
        if look is None or look.grade in damaged_grades():
            return self.events
        return tuple(each for each in self.events if each.run_started_at >= look.at)


class Lives:
    """What parts have been through over their stretches, each set of stretches summed once."""

    def __init__(
        self, ledgers: Mapping[str, Ledger], events: Mapping[str, Sequence[DatedEvent]]
    ) -> None:
        """Take the ledgers and the events of all engines that the parts ran in, by engine."""
        self._ledgers, self._events = ledgers, events
        self._taken: dict[tuple[tuple[Stretch, ...], float], Taken] = {}
        self._met: dict[tuple[Stretch, ...], tuple[DatedEvent, ...]] = {}

    def taken(self, stretches: tuple[Stretch, ...], own_history_h: float = 0.0) -> Taken:
        """Return what was taken over `stretches`; see `taken_in`."""
        key = (stretches, own_history_h)
        if key not in self._taken:
            self._taken[key] = taken_in(self._ledgers, stretches, own_history_h=own_history_h)
        return self._taken[key]

    def events(self, stretches: tuple[Stretch, ...]) -> tuple[DatedEvent, ...]:
        """Return the events of the runs in `stretches`, in the order of these."""
        if stretches not in self._met:
            self._met[stretches] = tuple(
                each
                for stretch in stretches
                for each in self._events.get(stretch.engine_id, ())
                if (stretch.since is None or stretch.since <= each.run_started_at)
                and each.run_started_at < stretch.until
            )
        return self._met[stretches]


def damaged_grades() -> frozenset[int]:
    """Return the grades that count as damage."""
    return frozenset(grade.value for grade in grades() if grade.damaged)


LEAST_WEAR = 0.02
"""Share of the allowance below which a measurement tells wear from none no longer (common
practice, no source)."""


def wear_share(as_built: float, found: Measurement) -> float | None:
    """Return the share of its allowance that a part has worn, LEAST_WEAR or more; None: no limit.

    Args:
        as_built: what was measured in the build, in the unit of `found`.
        found: what was measured at teardown; the limit that it moved towards counts.
    """
    limit = found.high if found.value >= as_built else found.low
    if limit is None:  # it moved away from the only limit it has, or has none
        return LEAST_WEAR if (found.low, found.high) != (None, None) else None
    if limit == as_built:
        return None
    return max((found.value - as_built) / (limit - as_built), LEAST_WEAR)


def seen_in(
    looks: Iterable[Look],
    lives: Lives,
    own_history_h: Callable[[Look], float],
    dispositions: Mapping[int, Disposition],
    worn: Mapping[int, float],
) -> tuple[Seen, ...]:
    """Return looks at single parts as looks at sets of them, oldest first.

    A part that was damaged before tells nothing new, and is left out.

    Args:
        looks: of any engines.
        lives: of the parts.
        own_history_h: running hours of the part of a look from before it was first fitted.
        dispositions: what became of the part of each finding, by number of the finding.
        worn: share of its allowance that was measured as gone, by number of the finding.
    """
    sets: dict[tuple[datetime, str, str, str, Taken, Taken | None], list[Look]]
    sets = defaultdict(list)
    for look in looks:
        if not look.damaged_before:
            before_h = own_history_h(look)
            now = lives.taken(look.stretches, before_h)
            sound = lives.taken(look.sound_until, before_h) if look.sound_until else None
            sets[look.at, look.engine_id, look.part, look.mode, now, sound].append(look)
    seen = []
    for (at, engine_id, part, mode, now, sound), members in sets.items():
        first = members[0]
        seen.append(
            Seen(
                engine_id=engine_id,
                at=at,
                mode=mode_named(part, mode),
                positions=tuple(look.position for look in members),
                now=now,
                sound=sound,
                pieces=tuple(
                    SeenPiece(_piece_of(look), look.grade, worn.get(look.finding_id))
                    for look in members
                ),
                begun=(first.stretches[0].engine_id, first.stretches[0].since),
                fitted_again=all(dispositions[look.finding_id] == "reuse" for look in members),
            )
        )
    return tuple(sorted(seen, key=lambda each: (each.at, each.engine_id)))


def _piece_of(look: Look) -> tuple[object, ...]:
    first = look.stretches[0]
    return (look.part_id or first.engine_id, look.position, first.since)


def observations(seen: Iterable[Seen], loads: Loads) -> dict[DamageMode, list[Observation]]:
    """Return looks as the damage model takes them, by damage mode.

    Args:
        seen: the looks.
        loads: by the usual rates of the fleet.
    """
    found: dict[DamageMode, list[Observation]] = defaultdict(list)
    for each in seen:
        found[each.mode].append(
            Observation(
                load=loads.of(each.now, each.sound),
                damaged=each.damaged,
                grades=tuple(piece.grade for piece in each.pieces),
                worn=tuple(
                    (piece.grade, piece.worn) for piece in each.pieces if piece.worn is not None
                ),
            )
        )
    return dict(found)


def pieces_in(seen: Iterable[Seen], loads: Loads) -> dict[DamageMode, list[Piece]]:
    """Return the pieces that were looked at with all looks at each, by damage mode.

    Args:
        seen: the looks, oldest first.
        loads: by the usual rates of the fleet.
    """
    found: dict[DamageMode, dict[tuple[object, ...], Piece]] = defaultdict(dict)
    for each in seen:
        load = loads.of(each.now, each.sound)
        doses = {
            cause: load.doses.get(cause, 0.0) + load.unwatched.get(cause, 0.0)
            for cause in {*load.doses, *load.unwatched}
        }
        for piece in each.pieces:
            before = found[each.mode].get(piece.key)
            looks = before.looks if before else ()
            look = PieceLook(doses, piece.grade, piece.worn)
            found[each.mode][piece.key] = Piece(each.engine_id, (*looks, look))
    return {mode: list(pieces.values()) for mode, pieces in found.items()}
