"""How the cylinders of an engine stand, and what follows for its crank and its banks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

LayoutName = Literal["inline", "v", "flat", "w"]
LAYOUTS: tuple[LayoutName, ...] = get_args(LayoutName)

MOST_CYLINDERS = 24
"""No race engine has more (common practice, no source)."""


@dataclass(frozen=True)
class EngineLayout:
    """Cylinders of an engine and how they stand.

    Attributes:
        name: inline, v, flat or w.
        cylinders: how many.

    Raises:
        ValueError: there is no such engine.
    """

    name: LayoutName
    cylinders: int

    def __post_init__(self) -> None:
        if self.name not in LAYOUTS:
            raise ValueError(f"there is no layout {self.name!r}: write one of {', '.join(LAYOUTS)}")
        if not 1 <= self.cylinders <= MOST_CYLINDERS:
            raise ValueError(f"an engine has 1 to {MOST_CYLINDERS} cylinders")
        if self.name != "inline" and self.cylinders % 2:
            raise ValueError(f"an engine of layout {self.name} has an even number of cylinders")

    @property
    def rods_per_crankpin(self) -> int:
        """Rods that share a crankpin: two where banks stand at an angle, else one.

        Opposed cylinders have a crankpin each (common practice, no source).
        """
        return 2 if self.name in ("v", "w") else 1

    @property
    def crankpins(self) -> int:
        """Number of crankpins."""
        return self.cylinders // self.rods_per_crankpin

    @property
    def main_journals(self) -> int:
        """Number of main journals.

        One stands on either side of each crankpin (common practice, no source).
        """
        return self.crankpins + 1

    @property
    def banks(self) -> tuple[str, ...]:
        """Names of its banks; none where the cylinders stand in one row."""
        return () if self.name == "inline" else ("left", "right")
