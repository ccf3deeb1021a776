"""The canonical channels of schemas/channels.toml, as values."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from babbitt.model.contracts import read_toml
from babbitt.model.units import Unit, canonical, parse

WATCHED = (
    "rpm",
    "oil_pressure",
    "oil_temperature",
    "coolant_temperature",
    "boost",
    "lateral_g",
)
"""The six channels that the kinds of harm are judged by; the others are optional."""


@dataclass(frozen=True)
class FlagLimits:
    """Limits of the QARTOD tests of one channel, in its canonical unit.

    Attributes:
        gross_fail: (low, high); outside is bad.
        gross_suspect: (low, high); outside is suspect.
        spike: (suspect, bad) height of one sample over both neighbours.
        rate_per_s: (suspect, bad) change between neighbours, per second.
        flat_tolerance: spread that still counts as flat.
        flat_suspect_s: seconds flat until suspect; 0 leaves the test out.
        flat_fail_s: seconds flat until bad; 0 leaves the test out.
        nothing: (low, high) of what a sound sensor reads where there is nothing to read, and may
            well read without a change; None: its flat lines count wherever they are.
    """

    gross_fail: tuple[float, float]
    gross_suspect: tuple[float, float]
    spike: tuple[float, float]
    rate_per_s: tuple[float, float]
    flat_tolerance: float
    flat_suspect_s: float
    flat_fail_s: float
    nothing: tuple[float, float] | None = None


@dataclass(frozen=True)
class Channel:
    """One canonical channel.

    Attributes:
        name: its name in runs, tables and files.
        title: its name in a sentence.
        unit: the unit it is stored in.
        reference: "gauge" or "absolute" for a pressure, else None.
        aliases: headers that mean this channel, as written in schemas/channels.toml.
        absolute_aliases: headers that mean it before ambient pressure is subtracted (boost).
        stating_aliases: those of the aliases that name the storage unit themselves.
        shown: the unit shown to a metric and to an imperial reader.
        limits: of its quality flags.
    """

    name: str
    title: str
    unit: Unit
    reference: Literal["gauge", "absolute"] | None
    aliases: tuple[str, ...]
    absolute_aliases: tuple[str, ...]
    stating_aliases: tuple[str, ...]
    shown: dict[str, Unit]
    limits: FlagLimits


@cache
def channels() -> dict[str, Channel]:
    """Every canonical channel by name, in the order of schemas/channels.toml."""
    return {name: _channel(name, row) for name, row in read_toml("channels.toml").items()}


def _channel(name: str, row: dict[str, Any]) -> Channel:
    dimension = row["dimension"]
    unit = canonical(dimension)
    if unit.symbol != row["unit"]:
        raise AssertionError(f"schemas/channels.toml: {name} is not in the unit of {dimension}")
    return Channel(
        name=name,
        title=row["title"],
        unit=unit,
        reference=row.get("reference"),
        aliases=tuple(row["aliases"]),
        absolute_aliases=tuple(row.get("absolute_aliases", ())),
        stating_aliases=tuple(row.get("stating_aliases", ())),
        shown={system: _known(text, dimension) for system, text in row["display"].items()},
        limits=_limits(row["flags"]),
    )


def _known(text: str, dimension: str) -> Unit:
    unit = parse(text, dimension=dimension)
    if unit is None:
        raise AssertionError(f"schemas/channels.toml: {text!r} is no unit of {dimension}")
    return unit


def _limits(row: dict[str, Any]) -> FlagLimits:
    def pair(key: str) -> tuple[float, float]:
        low, high = row[key]
        return float(low), float(high)

    flat = row["flat"]
    return FlagLimits(
        gross_fail=pair("gross_fail"),
        gross_suspect=pair("gross_suspect"),
        spike=pair("spike"),
        rate_per_s=pair("rate_per_s"),
        flat_tolerance=float(flat["tolerance"]),
        flat_suspect_s=float(flat["suspect_s"]),
        flat_fail_s=float(flat["fail_s"]),
        nothing=pair("nothing") if "nothing" in row else None,
    )
