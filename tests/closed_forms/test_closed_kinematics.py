"""Piston kinematics against their closed form."""

import pytest

from babbitt.totals.kinematics import mean_piston_speed_m_s, peak_piston_acceleration_m_s2


@pytest.mark.parametrize(
    ("rpm", "speed_m_s", "acceleration_m_s2"), [(8000, 22.93333, 39548.73), (9000, 25.8, 50053.86)]
)
def test_stroke_of_86_mm(rpm, speed_m_s, acceleration_m_s2):
    """Closed form r w² (1 + r/l); mean piston speed 2 S N, Heywood eq. 2.9."""
    assert mean_piston_speed_m_s(86.0, rpm) == pytest.approx(speed_m_s, rel=1e-6)
    found = peak_piston_acceleration_m_s2(86.0, 138.5, rpm)
    assert found == pytest.approx(acceleration_m_s2, rel=1e-6)


def test_acceleration_grows_with_the_square_of_engine_speed():
    """Closed form: (9/8)² = 1.265625."""
    fast = peak_piston_acceleration_m_s2(86.0, 138.5, 9000.0)
    slow = peak_piston_acceleration_m_s2(86.0, 138.5, 8000.0)
    assert fast / slow == pytest.approx(1.265625, rel=1e-12)
