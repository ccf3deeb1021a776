"""What engine speed does to a piston: exact slider-crank figures."""

from __future__ import annotations

import math


def mean_piston_speed_m_s(stroke_mm: float, rpm: float) -> float:
    """Return the mean piston speed in m/s: two strokes a revolution (Heywood, eq. 2.9).

    Args:
        stroke_mm: twice the crank radius.
        rpm: engine speed, 1/min.
    """
    return 2.0 * stroke_mm / 1000.0 * rpm / 60.0


def peak_piston_acceleration_m_s2(stroke_mm: float, rod_length_mm: float, rpm: float) -> float:
    """Return the piston's acceleration at top dead centre, in m/s²: its highest of the cycle.

    With crank radius r, rod length l and angular speed w it is r w² (1 + r/l): the second
    derivative of the exact displacement, no approximation.

    Args:
        stroke_mm: twice the crank radius.
        rod_length_mm: between the centres of its eyes.
        rpm: engine speed, 1/min.
    """
    radius_m = stroke_mm / 2000.0
    angular_speed = 2.0 * math.pi * rpm / 60.0
    return radius_m * angular_speed**2 * (1.0 + 1000.0 * radius_m / rod_length_mm)
