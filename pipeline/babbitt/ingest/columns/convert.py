"""Readings to canonical units, to gauge pressure, and to the sign of ISO 8855."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from babbitt.ingest.columns.channels import Column
from babbitt.ingest.source import Instructions
from babbitt.model.conversion import ambient_taken, lateral_sign, offset_taken, unit_changed
from babbitt.model.run import ChannelArray, FloatArray
from babbitt.model.units import Unit

STANDARD_ATMOSPHERE_KPA = 101.325
"""NIST Special Publication 811 (2008), Appendix B.8: 1.013 25 E+05 Pa, exact."""

_STILL_BELOW_RPM = 50.0
_LEAST_STILL_S = 1.0
_AMBIENT_KPA = (60.0, 110.0)
"""Ambient pressure from a road at 4,000 m to the deepest of lows is within these."""


@dataclass(frozen=True)
class Ambient:
    """Ambient pressure of a run.

    Attributes:
        kpa: absolute.
        source: where it is from, to end a sentence.
    """

    kpa: float
    source: str


def to_canonical(values: ChannelArray, unit: Unit) -> ChannelArray:
    """Return readings in `unit` in the canonical unit of its dimension."""
    factor, offset = unit.to_canonical()
    if (factor, offset) == (1.0, 0.0):
        return values
    converted = values * np.float32(factor)
    if offset:
        converted += np.float32(offset)
    return converted


def find_ambient(
    seconds: FloatArray,
    rpm: ChannelArray,
    absolute_kpa: ChannelArray | None,
    instructions: Instructions,
) -> Ambient:
    """Find the ambient pressure of a run.

    That of the profile; else the median of the manifold's own reading before start-up, if the log
    shows the engine still for at least a second and the reading can be ambient; else the standard
    atmosphere.

    Args:
        seconds: of the rows, NaN where unknown; shape (rows,).
        rpm: 1/min, NaN where blank; shape (rows,).
        absolute_kpa: absolute pressure in the manifold, kPa, NaN where blank; shape (rows,).
        instructions: what the user and the profile say.
    """
    profile = instructions.profile
    if profile is not None and profile.ambient_kpa is not None:
        return Ambient(profile.ambient_kpa, "from the logger profile")
    if absolute_kpa is not None:
        read = _before_start_up(seconds, rpm, absolute_kpa)
        if read is not None and _AMBIENT_KPA[0] <= read <= _AMBIENT_KPA[1]:
            return Ambient(read, "its own reading before start-up")
    return Ambient(STANDARD_ATMOSPHERE_KPA, "the standard atmosphere")


def _before_start_up(
    seconds: FloatArray, rpm: ChannelArray, absolute_kpa: ChannelArray
) -> float | None:
    """Return the median reading while the engine stood still at the beginning, if it did."""
    known = np.flatnonzero(~np.isnan(rpm) & ~np.isnan(seconds))
    turns = np.flatnonzero(rpm[known] >= _STILL_BELOW_RPM)
    end = known[turns[0]] if len(turns) else len(rpm)
    still = known[known < end]
    if not len(still) or seconds[still[-1]] - seconds[still[0]] < _LEAST_STILL_S:
        return None
    readings = absolute_kpa[still[0] : still[-1] + 1]
    readings = readings[~np.isnan(readings)]
    return float(np.median(readings)) if len(readings) else None


def convert(
    values: ChannelArray, column: Column, ambient: Ambient | None, instructions: Instructions
) -> tuple[ChannelArray, tuple[str, ...]]:
    """Return a column in its channel's unit, reference and sign, and a sentence for each change.

    Args:
        values: as the log has them.
        column: a canonical channel whose unit is known.
        ambient: to take from an absolute pressure; needed where `column` is one.
        instructions: whose profile says which way lateral acceleration is positive.
    """
    channel, unit = column.channel, column.unit
    if channel is None or unit is None:
        raise ValueError(f"{column.header!r} is no canonical channel in a known unit")
    done: list[str] = []
    if unit.to_canonical() != (1.0, 0.0):
        values = to_canonical(values, unit)
        done.append(unit_changed(channel, unit.symbol, _from(column)))
    if column.absolute and ambient is not None:
        values = values - np.float32(ambient.kpa)
        done.append(ambient_taken(channel, ambient.kpa, ambient.source))
    if channel.name == "lateral_g":
        profile = instructions.profile
        turned = profile is not None and profile.lateral_positive == "right"
        values = -values if turned else values
        done.append(lateral_sign(channel, turned=turned))
    offset = instructions.offsets.get(channel.name, 0.0)
    if offset:
        values = values - np.float32(offset)
        done.append(offset_taken(channel, offset))
    return values, tuple(done)


def _from(column: Column) -> str:
    return {
        "header": "unit in the header",
        "units row": "unit in the units row",
        "values": "unit beside each value",
        "name": "unit in the name",
        "profile": "unit from the logger profile",
        "stated": "unit as stated",
        "dimensionless": "no unit",
        "note": "stated above the header",
        "": "unit unknown",
    }[column.unit_basis]
