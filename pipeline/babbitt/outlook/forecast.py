"""The chance of each damage mode of each part, now and after the next runs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from babbitt.damage.chance import Chances, Forecast, Question, forecasts
from babbitt.damage.ledger import Loads
from babbitt.damage.looks import LikeParts
from babbitt.damage.model import Load
from babbitt.damage.posterior import Posterior
from babbitt.model.damage_modes import DamageMode, parts
from babbitt.model.run import FloatArray


@dataclass(frozen=True, eq=False)
class ModeOutlook:
    """What is to be expected of like parts for one damage mode.

    Attributes:
        mode: the damage mode.
        like: the parts.
        load: what they have taken.
        now: chances of any of them.
        next: the same after the next runs.
        develops: belief that the damage comes on gradually.
        looks: teardowns' looks that this was learned from.
        damaged: how many of them found damage.
    """

    mode: DamageMode
    like: LikeParts
    load: Load
    now: Chances
    next: Chances
    develops: float
    looks: int
    damaged: int

    def to_json(self) -> dict[str, Any]:
        """Return it as the command line writes it."""
        return {
            "part": self.mode.part,
            "positions": [place for place in self.like.positions if place is not None],
            "damage_mode": self.mode.name,
            "now": asdict(self.now),
            "next": asdict(self.next),
            "develops": self.develops,
            "looks": self.looks,
            "damaged": self.damaged,
        }


@dataclass(frozen=True, eq=False)
class EngineForecast:
    """What is to be expected of an engine.

    Attributes:
        modes: each damage mode of each part, the likeliest to need replacing first.
        now: chances that any part is so badly off in any of them.
        next: the same after the next runs.
    """

    modes: tuple[ModeOutlook, ...]
    now: Chances
    next: Chances


def forecast(
    fitted: Iterable[LikeParts],
    posteriors: Mapping[DamageMode, Posterior],
    loads: Loads,
    ahead: Mapping[str, FloatArray],
) -> EngineForecast:
    """Return the chances of each damage mode, and of any.

    Args:
        fitted: the parts of an engine.
        posteriors: by damage mode; modes without one are left out.
        loads: by the usual rates of the fleet.
        ahead: cause -> doses that the next runs may bring, see `Ahead.after`.
    """
    asked: dict[tuple[int, int], Question] = {}  # modes may be alike
    found = []
    for like in fitted:
        for mode in parts()[like.part].modes.values():
            posterior = posteriors.get(mode)
            if posterior is None:
                continue
            load = like.load(mode, loads)
            asked[id(posterior), id(load)] = posterior, load
            found.append((mode, like, posterior, load))
    times = Counter((id(posterior), id(load)) for _, _, posterior, load in found)
    each, of_any = forecasts(list(asked.values()), ahead, times=[times[key] for key in asked])
    told = dict(zip(asked, each, strict=True))
    modes = [
        _mode_outlook(mode, like, posterior, load, told[id(posterior), id(load)])
        for mode, like, posterior, load in found
    ]
    return EngineForecast(
        modes=tuple(sorted(modes, key=lambda mode: -mode.next.replace.p)),
        now=of_any.now,
        next=of_any.then,
    )


def _mode_outlook(
    mode: DamageMode, like: LikeParts, posterior: Posterior, load: Load, told: Forecast
) -> ModeOutlook:
    return ModeOutlook(
        mode=mode,
        like=like,
        load=load,
        now=told.now,
        next=told.then,
        develops=posterior.develops,
        looks=posterior.observations,
        damaged=posterior.damaged,
    )


def alike(modes: Iterable[ModeOutlook]) -> tuple[tuple[ModeOutlook, ...], ...]:
    """Return the damage modes of the same parts with the same chances together, in their order."""
    rows: dict[object, list[ModeOutlook]] = {}
    for mode in modes:
        key = mode.mode.part, mode.like.positions, mode.now, mode.next
        rows.setdefault(key, []).append(mode)
    return tuple(map(tuple, rows.values()))
