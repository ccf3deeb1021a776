"""Piston kinematics against a worked case."""

import pytest

from babbitt.totals.kinematics import mean_piston_speed_m_s, peak_piston_acceleration_m_s2

pytestmark = pytest.mark.published


def test_crank_of_80_mm_and_rod_of_245_mm_at_1000_rpm():
    """Data of a college calculus problem set; values by the exact formula."""
    assert peak_piston_acceleration_m_s2(160.0, 245.0, 1000.0) == pytest.approx(1163.763, abs=6e-4)
    assert mean_piston_speed_m_s(160.0, 1000.0) == pytest.approx(5.33333, abs=6e-4)
