"""Tilt of a liquid's surface against its closed form."""

import pytest

from babbitt.totals.tilt import oil_angle_deg


@pytest.mark.parametrize(
    ("lateral_g", "degrees"),
    [(0.5, 26.565), (1.0, 45.0), (1.2, 50.194), (1.5, 56.310), (2.0, 63.435), (-1.0, -45.0)],
)
def test_angle_against_lateral_acceleration(lateral_g, degrees):
    """Closed form tan(angle) = a/g."""
    assert oil_angle_deg(lateral_g) == pytest.approx(degrees, abs=6e-4)
