"""Where coolant boils: the saturation line of water, lowered by the glycol in it."""

from __future__ import annotations

import math

ZERO_C_K = 273.15
STANDARD_ATMOSPHERE_KPA = 101.325

# Region 4 of the IAPWS Industrial Formulation 1997, release R7-97(2012), table 34.
_N1, _N2, _N3, _N4, _N5 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
)
_N6, _N7, _N8, _N9, _N10 = (
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
WATER_RANGE_KPA = (0.611213, 22064.0)

# Ethylene glycol: log10(p/bar) = A - B / (T/K + C), NIST Chemistry WebBook, 323 to 473 K.
_GLYCOL_A, _GLYCOL_B, _GLYCOL_C = 4.97012, 1914.951, -84.996
_GLYCOL_MOL_PER_LITRE = 1113.5 / 62.068  # density at 20 °C: Merck Index
_WATER_MOL_PER_LITRE = 998.2 / 18.01527  # density at 20 °C


def boiling_point_c(
    cap_kpa: float, glycol_percent: float, ambient_kpa: float = STANDARD_ATMOSPHERE_KPA
) -> float:
    """Return the temperature in °C at which coolant boils under a pressure cap.

    Raoult's law: each liquid adds its vapour pressure in proportion to its mole fraction, and the
    coolant boils where the sum reaches the pressure on it. For half glycol, half water that lies
    within about 1 K of the figures in use; the glycol's own share is worth 0.2 K.

    Args:
        cap_kpa: opening pressure of the cap, gauge.
        glycol_percent: ethylene glycol, percent by volume at 20 °C; the rest is water.
        ambient_kpa: air pressure, absolute.

    Raises:
        ValueError: the pressure lies outside the saturation line of water.
    """
    from scipy.optimize import brentq  # slow to import, and most commands boil nothing

    pressure_kpa = cap_kpa + ambient_kpa
    glycol = glycol_mole_fraction(glycol_percent)

    def excess_kpa(celsius: float) -> float:
        water_kpa = (1.0 - glycol) * water_vapour_pressure_kpa(celsius)
        return water_kpa + glycol * glycol_vapour_pressure_kpa(celsius) - pressure_kpa

    no_glycol_c = water_boiling_point_c(pressure_kpa)
    no_glycol_vapour_c = water_boiling_point_c(pressure_kpa / (1.0 - glycol))
    return float(brentq(excess_kpa, no_glycol_c - 0.001, no_glycol_vapour_c + 0.001))


def glycol_mole_fraction(glycol_percent: float) -> float:
    """Return the mole fraction of ethylene glycol in a mixture stated in percent by volume."""
    glycol = glycol_percent / 100.0 * _GLYCOL_MOL_PER_LITRE
    water = (1.0 - glycol_percent / 100.0) * _WATER_MOL_PER_LITRE
    return glycol / (glycol + water)


def water_boiling_point_c(pressure_kpa: float) -> float:
    """Return the boiling point of water in °C (IAPWS-IF97, backward equation of region 4).

    Args:
        pressure_kpa: absolute, 0.611213 to 22064.

    Raises:
        ValueError: the pressure lies outside that range.
    """
    low, high = WATER_RANGE_KPA
    if not low <= pressure_kpa <= high:
        raise ValueError(f"water has no boiling point at {pressure_kpa} kPa")
    beta: float = (pressure_kpa / 1000.0) ** 0.25
    e = beta**2 + _N3 * beta + _N6
    f = _N1 * beta**2 + _N4 * beta + _N7
    g = _N2 * beta**2 + _N5 * beta + _N8
    d = 2.0 * g / (-f - math.sqrt(f**2 - 4.0 * e * g))
    sum_ = _N10 + d
    return (sum_ - math.sqrt(sum_**2 - 4.0 * (_N9 + _N10 * d))) / 2.0 - ZERO_C_K


def water_vapour_pressure_kpa(celsius: float) -> float:
    """Return the vapour pressure of water, absolute, in kPa (IAPWS-IF97, equation of region 4)."""
    kelvin = celsius + ZERO_C_K
    theta = kelvin + _N9 / (kelvin - _N10)
    a = theta**2 + _N1 * theta + _N2
    b = _N3 * theta**2 + _N4 * theta + _N5
    c = _N6 * theta**2 + _N7 * theta + _N8
    root: float = 2.0 * c / (-b + math.sqrt(b**2 - 4.0 * a * c))
    return 1000.0 * root**4


def glycol_vapour_pressure_kpa(celsius: float) -> float:
    """Return the vapour pressure of ethylene glycol, absolute, in kPa; 50 to 200 °C."""
    exponent = _GLYCOL_A - _GLYCOL_B / (celsius + ZERO_C_K + _GLYCOL_C)
    bar: float = 10.0**exponent
    return 100.0 * bar
