"""Units a log may state, and their conversion to the canonical unit of their dimension."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from babbitt.model.contracts import read_toml


@dataclass(frozen=True)
class Unit:
    """A unit: ``canonical = factor * value + offset``.

    Attributes:
        symbol: how the unit is written on screens and in files.
        dimension: what it measures; only units of one dimension convert.
        reference: "gauge" or "absolute" where the spelling says so (psig, bara), else None.
    """

    symbol: str
    dimension: str
    factor: float
    offset: float = 0.0
    reference: str | None = None

    def to_canonical(self) -> tuple[float, float]:
        """Return (factor, offset) that bring a value in this unit to the canonical one."""
        return self.factor, self.offset

    def from_canonical(self) -> tuple[float, float]:
        """Return (factor, offset) that bring a canonical value to this unit."""
        return 1.0 / self.factor, -self.offset / self.factor


@cache
def all_units() -> tuple[Unit, ...]:
    """Every unit of schemas/units.toml, in the order of that file."""
    return tuple(
        Unit(symbol, dimension, float(row["factor"]), float(row.get("offset", 0.0)))
        for dimension, table in read_toml("units.toml").items()
        for symbol, row in table["units"].items()
    )


@cache
def canonical(dimension: str) -> Unit:
    """The canonical unit of a dimension of schemas/units.toml."""
    symbol = read_toml("units.toml")[dimension]["canonical"]
    return next(u for u in all_units() if u.dimension == dimension and u.symbol == symbol)


def units_of(dimension: str) -> tuple[Unit, ...]:
    """The units of one dimension, in the order of schemas/units.toml."""
    return tuple(u for u in all_units() if u.dimension == dimension)


def parse(text: str, *, dimension: str | None = None) -> Unit | None:
    """Return the unit that `text` spells, or None where it spells none.

    Args:
        text: a unit as a log writes it; case, spaces, brackets and degree signs do not matter.
        dimension: reads an ambiguous spelling ("g", "min", "1") as this dimension's; with it, a
            unit of another dimension is None. Of time, "20 Hz" is a unit, too: samples so often.
    """
    rate = re.fullmatch(r"(\d+(?:\.\d+)?) *hz", text.strip(), re.IGNORECASE)
    if rate is not None and dimension == "time" and float(rate[1]) > 0.0:
        return Unit(f"{rate[1]} Hz", "time", 1.0 / float(rate[1]))
    folded = _fold(text)
    found = [u for key, u in _spellings() if key == folded]
    if dimension is not None:
        found = [u for u in found if u.dimension == dimension]
    return found[0] if found else None


@cache
def _spellings() -> tuple[tuple[str, Unit], ...]:
    pairs: list[tuple[str, Unit]] = []
    for dimension, table in read_toml("units.toml").items():
        for symbol, row in table["units"].items():
            plain = Unit(symbol, dimension, float(row["factor"]), float(row.get("offset", 0.0)))
            for spelling in dict.fromkeys([symbol, *row["spellings"]]):
                folded = _fold(spelling)
                pairs.append((folded, _with_reference(plain, folded)))
    return tuple(pairs)


def _with_reference(unit: Unit, folded: str) -> Unit:
    """Read the trailing g or a of psig, psia, barg, bara, kpag, kpaa, mbara."""
    match = re.fullmatch(r"(?:psi|m?bar|kpa)([ga])", folded)
    if unit.dimension != "pressure" or match is None:
        return unit
    reference = "gauge" if match[1] == "g" else "absolute"
    return Unit(unit.symbol, unit.dimension, unit.factor, unit.offset, reference)


def _fold(text: str) -> str:
    return re.sub(r"[\s.°º\[\](){}_]", "", text).casefold().replace("μ", "µ")
