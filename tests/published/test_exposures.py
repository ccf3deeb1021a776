"""What one log puts on an engine, from the log to its exposure, against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.model.exposure import Exposure
from babbitt.register.records.exposures import exposure_of
from invented import SPEC
from judged_logs import JudgedLogs

pytestmark = pytest.mark.published

# ASTM E1049-85, 5.4.4: its history, a peak or valley a minute, 20 K for one, around 90 °C.
HISTORY = np.array([-2, 1, -3, 5, -1, 3, -4, 4, -2])
PSI_15_KPA = 15 * 6.894757293  # NIST SP 811
WATER_UNDER_PSI_15_C = (249.7 - 32.0) / 1.8  # IAPWS-IF97
LONG_STROKE = (
    SPEC.replace("stroke_mm = 86.0", "stroke_mm = 160.0")
    .replace("rod_length_mm = 143.0", "rod_length_mm = 245.0")
    .replace("limit_c = 108.0", f"limit_c = 108.0\ncap_kpa = {PSI_15_KPA}")
)


@pytest.fixture(scope="module")
def exposure(tmp_path_factory: pytest.TempPathFactory) -> Exposure:
    """Eight minutes at 2,000 1/min, with one corner of 1.2 g to the left and one of 0.5 g right."""
    t = np.arange(0.0, 480.1, 0.2)
    logs = JudgedLogs(tmp_path_factory.mktemp("exposure"), LONG_STROKE)
    corners = 1.2 * ((t > 50.0) & (t < 55.0)) - 0.5 * ((t > 90.0) & (t < 95.0))
    run = logs.take_in(
        t,
        {
            "rpm": 2000.0,
            "lateral_g": corners,
            "coolant_temperature": 60.0 + 6.0 * np.interp(t / 60.0, np.arange(9), HISTORY),
        },
    )
    with logs.book.register.reading() as session:
        found = exposure_of(session, run)
    assert found is not None
    return found


def test_a_piston_moves_as_in_a_college_problem(exposure: Exposure) -> None:
    """Crank of 80 mm and rod of 245 mm at 1,000 1/min: 5.33333 m/s and 1163.763 m/s² by the exact
    formula (data of a college calculus problem set); twice and four times as much at 2,000."""
    assert exposure.peak_mean_piston_speed_m_s == pytest.approx(2 * 5.33333, rel=1e-3)
    assert exposure.peak_piston_acceleration_m_s2 == pytest.approx(4 * 1163.763, rel=1e-3)


def test_turns_are_speed_times_time(exposure: Exposure) -> None:
    """Eight minutes at 2,000 1/min are 16,000 turns (definition)."""
    assert exposure.revolutions == pytest.approx(16_000.0, rel=1e-3)
    assert exposure.running_s == pytest.approx(480.0, abs=0.5)


def test_oil_stands_at_the_angle_of_the_cars_acceleration(exposure: Exposure) -> None:
    """atan(a / g): 50.194 ° at 1.2 g, 26.565 ° at 0.5 g (closed form, as for the fish tank of
    Cengel and Cimbala); to the left is positive, ISO 8855."""
    assert exposure.peak_oil_angle_left_deg == pytest.approx(50.194, abs=0.02)
    assert exposure.peak_oil_angle_right_deg == pytest.approx(26.565, abs=0.02)


def test_swings_of_coolant_are_counted_as_the_standard_does(exposure: Exposure) -> None:
    """ASTM E1049-85, 5.4.4: of its ranges, 3, 4, 6, 8 and 9 with counts 0.5, 1.5, 0.5, 1 and 0.5,
    those of 8 and 9 are above 40 K at 6 K for one."""
    assert exposure.heat_cycles == 1.0 + 0.5


def test_coolant_has_its_distance_from_boiling(exposure: Exposure) -> None:
    """Water under a cap of 15 psi boils at 249.7 °F (IAPWS-IF97); the hottest here is 90 °C."""
    assert exposure.least_boiling_margin_k == pytest.approx(WATER_UNDER_PSI_15_C - 90.0, abs=0.1)
