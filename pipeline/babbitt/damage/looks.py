"""Looks at parts, as the damage model learns from them.

Like parts that ran alike are one look: a life dose is that of an engine, not of one of its four
rod bearings. They were damaged if any was, and sound if all that were looked at were.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from babbitt.damage.ledger import Ledger, Loads, Taken, taken_in
from babbitt.damage.model import Load, Observation
from babbitt.model.damage_modes import DamageMode, grades, mode_named
from babbitt.model.finding import Disposition
from babbitt.model.part_records import Look, Stretch
from babbitt.model.records import DatedEvent


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
        damaged: whether any was found damaged.
        begun: engine and UTC in and at which their running began; the same for all looks at them.
        fitted_again: whether all of them were fitted again as they were.
    """

    engine_id: str
    at: datetime
    mode: DamageMode
    positions: tuple[str | None, ...]
    now: Taken
    sound: Taken | None
    damaged: bool
    begun: tuple[str, datetime | None]
    fitted_again: bool


@dataclass(frozen=True, eq=False)
class SoundLook:
    """A look that found parts sound.

    Attributes:
        at: UTC, when.
        taken: what they had taken by then.
    """

    at: datetime
    taken: Taken


@dataclass(frozen=True, eq=False)
class LikeParts:
    """Like parts that sit in an engine and have run alike.

    Attributes:
        part: kind of part of schemas/causes.toml.
        positions: where they sit; None: the only one, or every one.
        now: what they have taken since they were new.
        events: in the runs that they took it in.
        sound: damage mode -> the last look that found them sound for it.
        went_back: damage mode -> grade that was found before they were fitted again.
    """

    part: str
    positions: tuple[str | None, ...]
    now: Taken
    events: tuple[DatedEvent, ...]
    sound: Mapping[str, SoundLook]
    went_back: Mapping[str, int]

    def load(self, mode: DamageMode, loads: Loads) -> Load:
        """Return what they have taken as the model of a damage mode reads it."""
        look = self.sound.get(mode.name)
        return loads.of(self.now, look.taken if look else None)

    def events_since(self, mode: DamageMode) -> tuple[DatedEvent, ...]:
        """Return the events since the last look that found them sound for a damage mode."""
        look = self.sound.get(mode.name)
        if look is None:
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


def seen_in(
    looks: Iterable[Look],
    lives: Lives,
    own_history_h: Callable[[Look], float],
    dispositions: Mapping[int, Disposition],
) -> tuple[Seen, ...]:
    """Return looks at single parts as looks at sets of them, oldest first.

    A part that was damaged before tells nothing new, and is left out.

    Args:
        looks: of any engines.
        lives: of the parts.
        own_history_h: running hours of the part of a look from before it was first fitted.
        dispositions: what became of the part of each finding, by number of the finding.
    """
    bad = damaged_grades()
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
                damaged=any(look.grade in bad for look in members),
                begun=(first.stretches[0].engine_id, first.stretches[0].since),
                fitted_again=all(dispositions[look.finding_id] == "reuse" for look in members),
            )
        )
    return tuple(sorted(seen, key=lambda each: (each.at, each.engine_id)))


def observations(seen: Iterable[Seen], loads: Loads) -> dict[DamageMode, list[Observation]]:
    """Return looks as the damage model takes them, by damage mode.

    Args:
        seen: the looks.
        loads: by the usual rates of the fleet.
    """
    found: dict[DamageMode, list[Observation]] = defaultdict(list)
    for each in seen:
        load = loads.of(each.now, each.sound)
        found[each.mode].append(Observation(load, each.damaged))
    return dict(found)
