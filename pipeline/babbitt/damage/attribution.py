"""How far each cause accounts for damage found, and what the log gives reason to look at again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from babbitt.damage.blame import Blame, blames_of
from babbitt.damage.chance import Estimate, chances
from babbitt.damage.model import UNLOGGED, Load
from babbitt.damage.posterior import Posterior
from babbitt.model.damage_modes import DamageMode
from babbitt.model.finding import Finding
from babbitt.model.records import DatedEvent

UNEXPLAINED = 0.5
"""Where the log accounts for less than this, the assembly is to blame first."""

SUSPECT = 0.05
"""From this chance on, a part that was found sound or not looked at deserves a second look (common
practice, no source)."""


@dataclass(frozen=True, eq=False)
class Found:
    """Damage found on a part, and what the part had been through.

    Attributes:
        finding_id: number of the finding.
        finding: what was seen.
        load: what the part had taken.
        events: in the runs since it was new, or since it was last found sound.
        spared: positions of like parts that the same teardown found without damage.
    """

    finding_id: int
    finding: Finding
    load: Load
    events: tuple[DatedEvent, ...]
    spared: tuple[str, ...]


@dataclass(frozen=True)
class Match:
    """A finding of damage and its causes.

    Attributes:
        finding_id: number of the finding.
        finding: what was seen.
        spared: positions of like parts that the same teardown found without damage.
        blames: the likeliest cause first; their shares sum to one.
        looks: teardowns' looks that this was learned from, this one among them.
        damaged: how many of them found damage.
    """

    finding_id: int
    finding: Finding
    spared: tuple[str, ...]
    blames: tuple[Blame, ...]
    looks: int
    damaged: int

    @property
    def unexplained(self) -> bool:
        """Whether the log explains less than half of it: look at the assembly."""
        return any(b.cause == UNLOGGED and b.share.p > UNEXPLAINED for b in self.blames)

    def to_json(self) -> dict[str, Any]:
        """Return the match as the command line writes it."""
        return {
            "finding_id": self.finding_id,
            "part": self.finding.part,
            "position": self.finding.position,
            "damage_mode": self.finding.damage_mode,
            "grade": self.finding.grade,
            "causes": [
                {
                    "cause": blame.cause,
                    "probability": blame.share.p,
                    "low": blame.share.low,
                    "high": blame.share.high,
                    "events": [each.dated.event.event_id for each in blame.events],
                }
                for blame in self.blames
            ],
        }


@dataclass(frozen=True, eq=False)
class Spared:
    """Like parts on which a teardown found no damage of one mode.

    Attributes:
        mode: the damage mode.
        positions: where they sat; None: the only one, or every one.
        load: what they had taken.
        events: in the runs since they were new, or since they were last found sound.
        looked_at: whether they were looked at and found sound; else nobody looked.
    """

    mode: DamageMode
    positions: tuple[str | None, ...]
    load: Load
    events: tuple[DatedEvent, ...]
    looked_at: bool


@dataclass(frozen=True)
class LookAgain:
    """Parts that the log gives reason to look at again.

    Attributes:
        mode: the damage mode to look for.
        positions: where they sat; None: the only one, or every one.
        chance: that they are worn or worse.
        blame: the first cause, and the events behind it.
        looked_at: whether they were looked at and found sound.
    """

    mode: DamageMode
    positions: tuple[str | None, ...]
    chance: Estimate
    blame: Blame
    looked_at: bool


def explain(found: Found, posterior: Posterior) -> Match:
    """Return how far each cause accounts for a finding of damage.

    Args:
        found: the finding; its damage mode is known.
        posterior: of that mode, with this very find among its observations.
    """
    return Match(
        finding_id=found.finding_id,
        finding=found.finding,
        spared=found.spared,
        blames=blames_of(posterior, found.load, found.events, found=True),
        looks=posterior.observations,
        damaged=posterior.damaged,
    )


def look_again(
    spared: Iterable[Spared], posteriors: Mapping[DamageMode, Posterior]
) -> tuple[LookAgain, ...]:
    """Return the parts that were spared although what was logged makes damage likely.

    Args:
        spared: parts without damage found.
        posteriors: by damage mode; modes without one are passed over.

    Returns:
        The likeliest first, one damage mode a part; only where logged events are the first cause.
    """
    judged = [(each, posteriors[each.mode]) for each in spared if each.mode in posteriors]
    # modes may be alike
    asked = {(id(posterior), id(each.load)): (posterior, each.load) for each, posterior in judged}
    told = [each.worn for each in chances(list(asked.values()))]
    likely = dict(zip(asked, told, strict=True))
    suspects: dict[tuple[str, tuple[str | None, ...]], LookAgain] = {}
    for each, posterior in judged:
        estimate = likely[id(posterior), id(each.load)]
        if estimate.p < SUSPECT:
            continue
        first = blames_of(posterior, each.load, each.events, found=False)[0]
        key = each.mode.part, each.positions
        known = suspects.get(key)
        if first.events and (known is None or known.chance.p < estimate.p):
            suspects[key] = LookAgain(each.mode, each.positions, estimate, first, each.looked_at)
    return tuple(sorted(suspects.values(), key=lambda each: -each.chance.p))


def alike(matches: Iterable[Match]) -> list[tuple[Match, ...]]:
    """Return findings of the same damage with the same causes together, in their order."""
    groups: dict[object, list[Match]] = {}
    for match in matches:
        key = match.finding.part, match.finding.damage_mode, match.blames
        groups.setdefault(key, []).append(match)
    return [tuple(group) for group in groups.values()]
