import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.totals.coolant import (
    boiling_point_c,
    glycol_mole_fraction,
    water_boiling_point_c,
    water_vapour_pressure_kpa,
)


@given(st.floats(1.0, 20_000.0))
def test_boiling_point_and_vapour_pressure_are_each_others_inverse(pressure_kpa):
    celsius = water_boiling_point_c(pressure_kpa)
    assert water_vapour_pressure_kpa(celsius) == pytest.approx(pressure_kpa, rel=1e-6)


@given(st.floats(0.0, 250.0), st.floats(0.0, 69.0), st.floats(0.5, 30.0))
def test_pressure_and_glycol_raise_the_boiling_point(cap_kpa, glycol_percent, more):
    here = boiling_point_c(cap_kpa, glycol_percent)
    assert boiling_point_c(cap_kpa + more, glycol_percent) > here
    assert boiling_point_c(cap_kpa, min(glycol_percent + more, 70.0)) > here


def test_plain_water_is_the_limit_of_no_glycol():
    assert boiling_point_c(110.0, 1e-6) == pytest.approx(boiling_point_c(110.0, 0.0), abs=1e-5)


def test_altitude_lowers_the_boiling_point():
    assert boiling_point_c(110.0, 30.0, ambient_kpa=80.0) < boiling_point_c(110.0, 30.0)


def test_glycol_is_stated_by_volume():
    assert glycol_mole_fraction(0.0) == 0.0
    assert glycol_mole_fraction(50.0) == pytest.approx(0.2445, abs=0.0005)
    assert glycol_mole_fraction(100.0) == 1.0


@pytest.mark.parametrize("pressure_kpa", [0.5, 23_000.0])
def test_a_pressure_off_the_saturation_line_is_refused(pressure_kpa):
    with pytest.raises(ValueError, match="no boiling point"):
        water_boiling_point_c(pressure_kpa)
