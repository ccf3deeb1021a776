"""How far cornering tilts the oil in the sump."""

from __future__ import annotations

import math


def oil_angle_deg(lateral_g: float) -> float:
    """Return the tilt of the oil's surface against the level, in degrees: atan(a/g).

    That is the surface of a liquid at rest in a steadily accelerated, unbaffled tank; real oil
    swings past it and baffles hold it back.

    Args:
        lateral_g: lateral acceleration in g; the angle has its sign.
    """
    return math.degrees(math.atan(lateral_g))
