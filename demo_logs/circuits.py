"""Two invented circuits, as sections in driving order."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Section:
    """A stretch of constant curvature.

    Attributes:
        name: how the plan refers to it.
        length_m: along the driven line.
        turn_deg: change of heading, positive to the left; 0 for a straight.
        corner_g: lateral acceleration that the car can hold here, g; banking raises it.
    """

    name: str
    length_m: float
    turn_deg: float = 0.0
    corner_g: float = 1.2

    @property
    def curvature_per_m(self) -> float:
        """Signed curvature, positive to the left."""
        return math.radians(self.turn_deg) / self.length_m


# Counter-clockwise; both bowls are banked, so the car leans on its right-hand wheels for seconds.
TOLLBAR_BOWL = (
    Section("pit_straight", 560.0),
    Section("north_bowl", 470.0, 180.0, 1.5),
    Section("far_straight", 430.0),
    Section("kink", 70.0, -65.0, 1.15),
    Section("short_straight", 150.0),
    Section("return_kink", 75.0, 65.0, 1.15),
    Section("link", 130.0),
    Section("south_bowl", 430.0, 180.0, 1.45),
)

# Clockwise, mostly slow right-handers.
FENNICK_HILL = (
    Section("pit_straight", 520.0),
    Section("hairpin", 80.0, -150.0, 1.15),
    Section("climb", 260.0),
    Section("crest", 75.0, 60.0, 1.1),
    Section("ridge", 190.0),
    Section("quarry", 95.0, -110.0, 1.2),
    Section("descent", 420.0),
    Section("ford", 70.0, 80.0, 1.15),
    Section("meadow", 140.0),
    Section("long_right", 170.0, -140.0, 1.25),
    Section("lane", 110.0),
    Section("last", 70.0, -100.0, 1.2),
)

CIRCUITS = {"Tollbar Bowl": TOLLBAR_BOWL, "Fennick Hill": FENNICK_HILL}
