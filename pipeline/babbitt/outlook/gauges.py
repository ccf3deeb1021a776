"""How far the limits of an engine's parts are used: life doses of the spec, service limits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from babbitt.damage.ledger import Loads, column_of
from babbitt.damage.life import CONTRIBUTING_LIFE
from babbitt.damage.looks import LikeParts
from babbitt.model.damage_modes import RUNNING, DamageMode, causes, parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from babbitt.model.run import FloatArray
from babbitt.model.service_limits import ServiceLimit
from babbitt.outlook.ahead import Ahead

REVOLUTIONS = "revolutions"


@dataclass(frozen=True)
class Limit:
    """A limit of a part.

    Attributes:
        sort: life, a dose of the spec's [life]; service, one of the shop's own.
        of: cause or kind of harm whose dose it is, `running` for hours, or `revolutions`.
    """

    sort: Literal["life", "service"]
    of: str


@dataclass(frozen=True, eq=False)
class Gauge:
    """How much of a limit is used, and what the next runs may add.

    Attributes:
        part: kind of part of schemas/causes.toml.
        positions: where the parts sit; None: the only one, or every one.
        limit: the limit.
        used: share of the limit that is used, 1 where it is reached.
        left: what is left of it, in its unit.
        ahead: what is added after each of the next runs, in that unit; shape (runs, futures).
    """

    part: str
    positions: tuple[str | None, ...]
    limit: Limit
    used: float
    left: float
    ahead: FloatArray


def life_gauges(
    fitted: Iterable[LikeParts], life: LifeSection, ahead: Ahead, loads: Loads
) -> list[Gauge]:
    """Return how far the life dose of each cause is used by the parts that have used most of it.

    Used is what a part has taken since it was new, or since it was last found sound. A contributing
    cause has CONTRIBUTING_LIFE times the life dose of its kind. What could not be seen is counted
    at its mean.

    Args:
        fitted: the parts of an engine.
        life: [life] of the engine spec; kinds without a dose have no limit.
        ahead: what the next runs may bring.
        loads: by the usual rates of the fleet.
    """
    most: dict[tuple[str, float], tuple[float, LikeParts]] = {}
    for like in fitted:
        for mode in parts()[like.part].modes.values():
            load = like.load(mode, loads)
            for cause, dose in _life_doses(mode, life):
                taken = load.doses.get(cause, 0.0) - load.sound_at.get(cause, 0.0)
                used = (taken + load.unwatched.get(cause, 0.0)) / dose
                if (cause, dose) not in most or most[cause, dose][0] < used:
                    most[cause, dose] = used, like
    return [
        Gauge(
            part=like.part,
            positions=like.positions,
            limit=Limit("life", cause),
            used=used,
            left=(1.0 - used) * dose,
            ahead=ahead.doses[column_of(cause)],
        )
        for (cause, dose), (used, like) in most.items()
    ]


def service_gauges(
    fitted: Iterable[LikeParts],
    limits: Mapping[str, ServiceLimit],
    ahead: Ahead,
    loads: Loads,
) -> list[Gauge]:
    """Return how far the service limits of an engine's parts are used.

    What could not be seen of a kind of harm is counted at its mean. A limit of revolutions is left
    out where those of the part, or of the runs to expect, are not all known.

    Args:
        fitted: the parts of an engine.
        limits: by kind of part.
        ahead: what the next runs may bring.
        loads: by the usual rates of the fleet.
    """
    gauges = []
    for like in fitted:
        limit = limits.get(like.part)
        if limit is None:
            continue
        taken = like.now.doses + like.now.unwatched_h * loads.rates
        doses = [(kind, limit.dose.get(kind)) for kind in KINDS]
        for cause, most in [(RUNNING, limit.running_h), *doses]:
            if most is not None:
                column = column_of(cause)
                gauges.append(
                    _service(like, cause, float(taken[column]), most, ahead.doses[column])
                )
        turned = like.now.revolutions
        if limit.revolutions is not None and math.isfinite(turned + ahead.revolutions.sum()):
            turns = ahead.revolutions
            gauges.append(_service(like, REVOLUTIONS, turned, limit.revolutions, turns))
    return gauges


def _service(like: LikeParts, of: str, taken: float, most: float, ahead: FloatArray) -> Gauge:
    return Gauge(
        part=like.part,
        positions=like.positions,
        limit=Limit("service", of),
        used=taken / most,
        left=most - taken,
        ahead=ahead,
    )


def _life_doses(mode: DamageMode, life: LifeSection) -> Iterator[tuple[str, float]]:
    """Yield each cause of a damage mode, and the life dose of it."""
    for cause in mode.causes:
        kind = causes()[cause].kind
        dose = life.of(kind) if kind else None
        if dose is not None:
            yield cause, dose if cause in mode.primary else CONTRIBUTING_LIFE * dose
