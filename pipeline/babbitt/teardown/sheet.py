"""The teardown sheet: before the strip-down, where to look first, for what, and what to measure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from babbitt.damage.blame import Blame, blames_of
from babbitt.damage.chance import Estimate, chance
from babbitt.damage.ledger import Loads
from babbitt.damage.looks import LikeParts
from babbitt.damage.posterior import Posterior
from babbitt.model.damage_modes import DamageMode, Part, parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.positions import spots_of

IN_FULL = 8
"""So many parts are told in full, the likeliest; of the others what to look for is not, so that the
sheet stays on two pages."""


@dataclass(frozen=True)
class Item:
    """Like parts to look at.

    Attributes:
        part: kind of part.
        positions: where they sit, in the order in which to look; "" for a part without positions.
        chance: that the likeliest damage mode has them worn or worse; None: none can be judged.
        modes: damage modes, the likeliest first.
        blame: first cause of the likeliest damage mode; None: as `chance`.
        found_before: position -> finds of damage there in the fleet.
        went_back: damage mode -> grade that was found before the parts were fitted again.
    """

    part: Part
    positions: tuple[str, ...]
    chance: Estimate | None
    modes: tuple[DamageMode, ...]
    blame: Blame | None
    found_before: Mapping[str, int]
    went_back: Mapping[str, int]


@dataclass(frozen=True)
class Sheet:
    """What to look at when an engine comes apart.

    Attributes:
        engine_id: the engine.
        at: UTC, the moment that it was made for.
        since: UTC, the last refresh; None: since it came into the logbook.
        teardowns: of its type that the chances were learned from.
        items: the likeliest first.
    """

    engine_id: str
    at: datetime
    since: datetime | None
    teardowns: int
    items: tuple[Item, ...]


def make_sheet(
    engine_id: str,
    fitted: Iterable[LikeParts],
    posteriors: Mapping[DamageMode, Posterior],
    loads: Loads,
    *,
    layout: EngineLayout,
    found_before: Mapping[tuple[str, str], int],
    at: datetime,
    since: datetime | None,
    teardowns: int,
) -> Sheet:
    """Return the teardown sheet of an engine.

    Args:
        engine_id: the engine.
        fitted: its parts.
        posteriors: by damage mode; modes without one are listed without a chance.
        loads: by the usual rates of the fleet.
        layout: of the engine.
        found_before: (part, position) -> finds of damage there in the fleet.
        at: UTC, the moment that it is made for.
        since: UTC, the last refresh; None: since it came into the logbook.
        teardowns: of its type that the posteriors were learned from.
    """
    items = [_item(like, posteriors, loads, layout, found_before) for like in fitted]
    items.sort(key=lambda item: -item.chance.p if item.chance else 0.0)
    return Sheet(engine_id, at, since, teardowns, tuple(items))


def _item(
    like: LikeParts,
    posteriors: Mapping[DamageMode, Posterior],
    loads: Loads,
    layout: EngineLayout,
    found_before: Mapping[tuple[str, str], int],
) -> Item:
    part = parts()[like.part]
    chances = {
        mode: chance(posteriors[mode], like.load(mode, loads)).worn
        for mode in part.modes.values()
        if mode in posteriors
    }
    ranked = sorted(part.modes.values(), key=lambda m: -chances[m].p if m in chances else 0.0)
    first = ranked[0]
    places = _positions(part, like.positions, layout)
    before = {at: found_before[part.name, at] for at in places if (part.name, at) in found_before}
    blame = None
    if first in chances:
        load, events = like.load(first, loads), like.events_since(first)
        blame = blames_of(posteriors[first], load, events, found=False)[0]
    return Item(
        part=part,
        positions=tuple(sorted(places, key=lambda at: -before.get(at, 0))),
        chance=chances.get(first),
        modes=tuple(ranked),
        blame=blame,
        found_before=before,
        went_back=like.went_back,
    )


def _positions(part: Part, named: Sequence[str | None], layout: EngineLayout) -> tuple[str, ...]:
    """Positions to look at: those named, else all that there may be; "" for the only one."""
    known = tuple(position for position in named if position is not None)
    return known or spots_of(part.name, layout)
