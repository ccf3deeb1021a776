"""Tilt of a liquid's surface against worked cases."""

import pytest

from babbitt.totals.tilt import oil_angle_deg

pytestmark = pytest.mark.published


def test_tank_that_reaches_90_km_h_in_10_s():
    """Cengel & Cimbala, Fluid Mechanics, fish-tank example: a 2.5 m/s², g 9.81 m/s²."""
    assert oil_angle_deg(2.5 / 9.81) == pytest.approx(14.297, abs=0.001)


def test_coffee_mug_at_7_m_s2():
    """White, Fluid Mechanics, drag-racer example (from memory)."""
    assert oil_angle_deg(7.0 / 9.81) == pytest.approx(35.5, abs=0.02)
