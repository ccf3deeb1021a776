"""Tilt of a liquid's surface against worked cases and its closed form."""

import pytest

from babbitt.totals.tilt import oil_angle_deg

pytestmark = pytest.mark.published


def test_tank_that_reaches_90_km_h_in_10_s():
    """Cengel & Cimbala, Fluid Mechanics, fish-tank example: a 2.5 m/s², g 9.81 m/s²."""
    assert oil_angle_deg(2.5 / 9.81) == pytest.approx(14.297, abs=0.001)


def test_coffee_mug_at_7_m_s2():
    """White, Fluid Mechanics, drag-racer example (from memory)."""
    assert oil_angle_deg(7.0 / 9.81) == pytest.approx(35.5, abs=0.02)


@pytest.mark.parametrize(
    ("lateral_g", "degrees"),
    [(0.5, 26.565), (1.0, 45.0), (1.2, 50.194), (1.5, 56.310), (2.0, 63.435), (-1.0, -45.0)],
)
def test_angle_against_lateral_acceleration(lateral_g, degrees):
    """Closed form tan(angle) = a/g."""
    assert oil_angle_deg(lateral_g) == pytest.approx(degrees, abs=6e-4)
