"""How much harm an event does: a rate for each kind, integrated over the event.

Each is scaled so that what a shop sees most often keeps the plain unit: a turn at the redline, a
turn with half of its oil pressure missing, a degree-second just above a limit, a turn on oil
COLD_BY_K below warm. What is worse than that counts for more, in the order in which an engine
builder would put it (common practice, no source).
"""

from __future__ import annotations

import math

import numpy as np

from babbitt.model.engine_spec import OilSection, OverRevSection
from babbitt.model.run import FloatArray

STRUCK_SHARE = 0.02
"""Of mechanical_rpm: so far past it a turn bends or strikes as much as it fatigues (our own
choice)."""

HALF_MISSING = 0.5
"""A turn with this share of its pressure missing counts for as much of a turn."""

OIL_KG_M3 = 850.0
"""Density of hot engine oil (common practice, no source)."""

LEAST_KPA = 1.0
"""Less than this is expected at no pin."""

HOT_OIL_C = 100.0
"""At which SAE J300 grades oil, and a turn without pressure counts as it is."""

COLD_BY_K = 20.0
"""So far below warm a turn under load counts as it is."""

COOLANT_DOUBLES_K = 5.0
OIL_DOUBLES_K = 10.0
"""Degrees that double the harm of a second: seals and gaskets, and oil (common practice, no
source; a rate that doubles every ten degrees is the rule of thumb after Arrhenius)."""

_KELVIN = 273.15


def fatigue_and_blows(speed_rpm: FloatArray, limits: OverRevSection) -> FloatArray:
    """Return weighted revolutions a second above the redline; elementwise.

    Reciprocating load grows with the square of speed, and fatigue life falls with the m-th power
    of stress (Basquin): a turn counts (rpm / redline)^(2m), and shares of life add up
    (Palmgren-Miner). Past mechanical_rpm valves strike and bolts yield: the turn counts more by the
    square of how far past it is, in STRUCK_SHARE of it.
    """
    weight = (speed_rpm / limits.redline_rpm) ** (2.0 * limits.fatigue_exponent)
    past = np.maximum(speed_rpm / limits.mechanical_rpm - 1.0, 0.0) / STRUCK_SHARE
    turns: FloatArray = speed_rpm / 60.0 * weight * (1.0 + past**2)
    return turns


def dry_turns(
    speed_rpm: FloatArray,
    pressure_kpa: FloatArray,
    reference_kpa: FloatArray,
    crankpin_mm: float | None = None,
) -> FloatArray:
    """Return revolutions a second, each by how much of a pressure is missing; elementwise.

    They grow with the square of the missing share: the film carries what little is missing, and
    fails with the rest. Where the crankpin is known, what counts is the pressure that is left of
    both after the head that its oil must be pressed in against.
    """
    head_kpa = centrifugal_head_kpa(speed_rpm, crankpin_mm or 0.0)
    left, usual = pressure_kpa - head_kpa, np.maximum(reference_kpa - head_kpa, LEAST_KPA)
    missing = np.clip(1.0 - left / usual, 0.0, 1.0)
    lost: FloatArray = speed_rpm / 60.0 * missing**2 / HALF_MISSING
    return lost


def centrifugal_head_kpa(speed_rpm: FloatArray, crankpin_mm: float) -> FloatArray:
    """Return the pressure that keeps oil from the middle of a turning pin: rho w² r² / 2."""
    rim_m_s = speed_rpm * (math.pi / 30.0) * (crankpin_mm / 2000.0)
    head: FloatArray = 0.5 * OIL_KG_M3 * rim_m_s**2 / 1000.0
    return head


def hot_oil_factor(oil_c: FloatArray, oil: OilSection) -> FloatArray:
    """Return by how much thinner oil is than at HOT_OIL_C; 1 where its temperature is unknown."""
    known = np.where(np.isnan(oil_c), HOT_OIL_C, oil_c)
    factor: FloatArray = oil.viscosity_100c_mm2_s / viscosity_mm2_s(known, oil)
    return factor


def cold_turns(
    speed_rpm: FloatArray, oil_c: FloatArray, warm_c: float, oil: OilSection
) -> FloatArray:
    """Return revolutions a second, each by how much thicker the oil is than COLD_BY_K below warm.

    Thick oil reaches bearings late, and heats at its edges; elementwise.
    """
    at = np.array(warm_c - COLD_BY_K)
    turns: FloatArray = speed_rpm / 60.0 * viscosity_mm2_s(oil_c, oil) / viscosity_mm2_s(at, oil)
    return turns


def degree_seconds(excess_k: FloatArray, doubles_k: float) -> FloatArray:
    """Return degree-seconds a second that double every `doubles_k` above a limit; elementwise.

    Just above the limit that is the excess itself.
    """
    doublings = np.maximum(excess_k, 0.0) / doubles_k
    harm: FloatArray = doubles_k / np.log(2.0) * (np.exp2(doublings) - 1.0)
    return harm


def viscosity_mm2_s(oil_c: FloatArray, oil: OilSection) -> FloatArray:
    """Return the kinematic viscosity of an oil, in mm²/s; elementwise.

    log10(log10(v + 0.7)) is linear in log10(T), T in kelvin, through the two points that every
    data sheet states (Walther; ASTM D341).
    """
    points_k = np.log10(np.array([40.0, 100.0]) + _KELVIN)
    stated = np.array([oil.viscosity_40c_mm2_s, oil.viscosity_100c_mm2_s])
    low, high = np.log10(np.log10(stated + 0.7))
    slope = (high - low) / (points_k[1] - points_k[0])
    at = low + slope * (np.log10(oil_c + _KELVIN) - points_k[0])
    viscosity: FloatArray = 10.0 ** (10.0**at) - 0.7
    return viscosity
