"""Boiling of water and coolant against published values."""

import iapws
import pytest

from babbitt.totals.coolant import (
    boiling_point_c,
    glycol_vapour_pressure_kpa,
    water_boiling_point_c,
    water_vapour_pressure_kpa,
)

pytestmark = pytest.mark.published

PSI_KPA = 6.894757293


@pytest.mark.parametrize(
    ("pressure_mpa", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)]
)
def test_saturation_temperature(pressure_mpa, kelvin):
    """IAPWS R7-97(2012), table 36."""
    assert water_boiling_point_c(1000.0 * pressure_mpa) + 273.15 == pytest.approx(kelvin, abs=1e-6)


@pytest.mark.parametrize(
    ("kelvin", "pressure_mpa"), [(300, 0.00353658941), (500, 2.63889776), (600, 12.3443146)]
)
def test_saturation_pressure(kelvin, pressure_mpa):
    """IAPWS R7-97(2012), table 35."""
    found_mpa = water_vapour_pressure_kpa(kelvin - 273.15) / 1000.0
    assert found_mpa == pytest.approx(pressure_mpa, rel=2e-9)


@pytest.mark.parametrize("pressure_mpa", [0.02, 0.0801, 0.101325, 0.2, 0.35, 1.7, 9.0])
def test_saturation_line_is_that_of_another_program(pressure_mpa):
    """Live against the package iapws."""
    theirs = iapws.iapws97._TSat_P(pressure_mpa)
    assert water_boiling_point_c(1000.0 * pressure_mpa) + 273.15 == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(
    ("cap_psi", "celsius"),
    [
        (0, 99.974),
        (7, 111.268),
        (13, 118.755),
        (15, 120.955),
        (16, 122.009),
        (18, 124.038),
        (20, 125.967),
        (22, 127.808),
        (25, 130.423),
        (30, 134.444),
    ],
)
def test_plain_water_under_a_cap_in_psi(cap_psi, celsius):
    """IAPWS-IF97 evaluated at 101.325 kPa and the cap's pressure."""
    assert boiling_point_c(cap_psi * PSI_KPA, 0.0) == pytest.approx(celsius, abs=0.0006)


@pytest.mark.parametrize(
    ("cap_bar", "celsius"),
    [
        (0.9, 118.815),
        (1.0, 120.42),
        (1.1, 121.962),
        (1.2, 123.445),
        (1.3, 124.874),
        (1.4, 126.254),
        (1.5, 127.588),
        (2.0, 133.676),
    ],
)
def test_plain_water_under_a_cap_in_bar(cap_bar, celsius):
    """IAPWS-IF97 evaluated at 101.325 kPa and the cap's pressure."""
    assert boiling_point_c(100.0 * cap_bar, 0.0) == pytest.approx(celsius, abs=0.0006)


def test_half_glycol_at_the_atmosphere():
    """Trade figure 225 °F (107.2 °C), read on consumer pages as 223 to 226 °F."""
    assert boiling_point_c(0.0, 50.0) == pytest.approx(107.2, abs=1.2)


def test_half_glycol_under_a_15_psi_cap():
    """Trade figure 265 °F (129.4 °C), read on a repair page (others: 262, 268 °F)."""
    assert boiling_point_c(15 * PSI_KPA, 50.0) == pytest.approx(129.4, abs=1.7)


def test_half_glycol_agrees_with_raoults_law_by_other_vapour_pressures():
    """Raoult's law with the vapour pressures of thermo 0.6.1 and iapws 1.5.5."""
    assert boiling_point_c(0.0, 50.0) == pytest.approx(107.803, abs=0.1)
    assert boiling_point_c(15 * PSI_KPA, 50.0) == pytest.approx(129.743, abs=0.1)


def test_half_glycol_by_mass():
    """ASHRAE Handbook Fundamentals, secondary coolants: 107.2 °C at 100.7 kPa (from memory)."""
    volume_percent = 100.0 * (0.5 / 1113.5) / (0.5 / 1113.5 + 0.5 / 998.2)
    celsius = boiling_point_c(0.0, volume_percent, ambient_kpa=100.7)
    assert celsius == pytest.approx(107.2, abs=0.5)


@pytest.mark.parametrize(
    ("celsius", "mm_hg"), [(92.1, 10.0), (120.0, 40.0), (141.8, 100.0), (178.5, 400.0)]
)
def test_vapour_pressure_of_glycol(celsius, mm_hg):
    """CRC Handbook of Chemistry and Physics, 44th ed., as quoted elsewhere; 10 % apart."""
    found_mm_hg = glycol_vapour_pressure_kpa(celsius) / 101.325 * 760.0
    assert found_mm_hg == pytest.approx(mm_hg, rel=0.12)


def test_glycols_own_vapour_is_worth_a_fifth_of_a_kelvin():
    without = water_boiling_point_c(101.325 / (1.0 - 0.2445))
    assert without - boiling_point_c(0.0, 50.0) == pytest.approx(0.2, abs=0.05)
