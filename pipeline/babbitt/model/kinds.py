"""The kinds of harm: one entry each, read by everything that tells one kind from another.

A new kind is an entry here, a detector in detect/judge.py, and what the schemas say of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = str
"""Key of a kind of harm in KINDS, in files and in the register."""


@dataclass(frozen=True)
class HarmKind:
    """A kind of harm.

    Attributes:
        title: as the shop says it.
        channel: whose worst value is the peak of an event, and whose rate decides how short an
            event can be seen.
        unit: of that channel and of the peak.
        worst: whether the highest or the lowest value is the worst.
        dose_unit: of the dose of an event; doses of one kind add up.
        needs: further channels without which it cannot be seen.
        rests_on: channels that make an event doubtful where they are doubted.
        reads: all channels that its detector reads.
        governed_by: sections of the engine spec that its detector reads, or single keys of them.
        least_duration: key of the spec that says how long the shortest event lasts; None: there is
            no least.
        learned: whether its detector reads the expected oil pressure.
        like: kind whose life dose holds where the spec states none: the same harm, by another way.
    """

    title: str
    channel: str
    unit: str
    worst: Literal["highest", "lowest"]
    dose_unit: str
    needs: tuple[str, ...]
    rests_on: tuple[str, ...]
    reads: tuple[str, ...]
    governed_by: tuple[str, ...]
    least_duration: str | None
    learned: bool = False
    like: Kind | None = None


_OIL_READS = (
    *("rpm", "oil_pressure", "oil_temperature"),
    *("lateral_g", "longitudinal_g", "speed"),
)
_OIL_LIMITS = ("oil_pressure", "oil", "cornering", "engine.idle_rpm")
_OIL_RESTS_ON = ("rpm", "oil_pressure", "lateral_g")

KINDS: dict[Kind, HarmKind] = {
    "over_rev": HarmKind(
        title="over-rev",
        channel="rpm",
        unit="1/min",
        worst="highest",
        dose_unit="weighted rev",
        needs=(),
        rests_on=("rpm",),
        reads=("rpm", "boost", "throttle"),
        governed_by=("over_rev",),
        # An over-rev of one sample, at any rate, is an over-rev.
        least_duration=None,
    ),
    "oil_starvation": HarmKind(
        title="oil starvation",
        channel="oil_pressure",
        unit="kPa",
        worst="lowest",
        dose_unit="rev",
        needs=("rpm", "lateral_g"),
        rests_on=_OIL_RESTS_ON,
        reads=_OIL_READS,
        governed_by=_OIL_LIMITS,
        least_duration="oil_pressure.min_duration_s",
        learned=True,
    ),
    "low_oil_pressure": HarmKind(
        title="low oil pressure",
        channel="oil_pressure",
        unit="kPa",
        worst="lowest",
        dose_unit="rev",
        needs=("rpm",),
        rests_on=_OIL_RESTS_ON,
        reads=_OIL_READS,
        governed_by=_OIL_LIMITS,
        least_duration="oil_pressure.min_duration_s",
        learned=True,
    ),
    "dry_start": HarmKind(
        title="dry start",
        channel="oil_pressure",
        unit="kPa",
        worst="lowest",
        dose_unit="rev",
        needs=("rpm",),
        rests_on=("rpm", "oil_pressure"),
        reads=("rpm", "oil_pressure", "oil_temperature"),
        governed_by=("oil_pressure", "engine.idle_rpm"),
        least_duration="oil_pressure.dry_start_s",
        learned=True,
        like="low_oil_pressure",
    ),
    "coolant_overheat": HarmKind(
        title="coolant overheat",
        channel="coolant_temperature",
        unit="°C",
        worst="highest",
        dose_unit="°C·s",
        needs=("rpm",),
        rests_on=("coolant_temperature",),
        reads=("rpm", "coolant_temperature"),
        governed_by=(
            "coolant_temperature.limit_c",
            "coolant_temperature.min_duration_s",
            "engine.idle_rpm",
        ),
        least_duration="coolant_temperature.min_duration_s",
    ),
    "oil_overheat": HarmKind(
        title="oil overheat",
        channel="oil_temperature",
        unit="°C",
        worst="highest",
        dose_unit="°C·s",
        needs=("rpm",),
        rests_on=("oil_temperature",),
        reads=("rpm", "oil_temperature"),
        governed_by=(
            "oil_temperature.limit_c",
            "oil_temperature.min_duration_s",
            "engine.idle_rpm",
        ),
        least_duration="oil_temperature.min_duration_s",
    ),
    "overboost": HarmKind(
        title="overboost",
        channel="boost",
        unit="kPa",
        worst="highest",
        dose_unit="kPa·s",
        needs=("rpm",),
        rests_on=("boost",),
        reads=("rpm", "boost"),
        governed_by=("boost",),
        least_duration="boost.min_duration_s",
    ),
    "cold_load": HarmKind(
        title="cold load",
        # The oil warms slowly: its own rate does not matter.
        channel="rpm",
        unit="1/min",
        worst="highest",
        dose_unit="rev",
        needs=("oil_temperature",),
        rests_on=("rpm", "oil_temperature", "boost"),
        reads=("rpm", "oil_temperature", "boost"),
        governed_by=("cold_load", "oil", "oil_temperature.warm_c", "engine.idle_rpm"),
        least_duration="cold_load.min_duration_s",
    ),
}
"""Every kind of harm, in the order in which every table lists them."""


def kinds_without(channel: str) -> tuple[Kind, ...]:
    """Kinds that cannot be seen in a run without a channel."""
    return tuple(kind for kind, about in KINDS.items() if channel in (about.channel, *about.needs))
