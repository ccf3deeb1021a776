"""The engine's own physics: oil pressure, boost and temperatures, without noise."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from demo_logs.car import STEP_S, FloatArray

IDLE_RPM = 1100.0
CRANKING_RPM = 230.0
RUNNING_RPM = 550.0  # half of idle: running above, cranking below

KPA_PER_1000RPM = 100.0  # at 100 °C, before the relief valve gives way
RELIEF_KPA = 740.0
THINNING_C = 160.0  # oil this much hotter holds 1/e of the pressure

VACUUM_KPA = -62.0
FULL_BOOST_KPA = 150.0
SPOOL_RPM = 3000.0
MANIFOLD_LAG_S = 0.22

OIL_LAG_S = 55.0
COOLANT_LAG_S = 35.0


def oil_pressure_kpa(rpm: FloatArray, oil_c: FloatArray, scale: float = 1.0) -> FloatArray:
    """Pressure that a sound engine holds, kPa gauge: rises with speed, falls with temperature.

    Args:
        rpm: engine speed, 1/min.
        oil_c: oil temperature, °C.
        scale: 1 as built; falls as clearances open.
    """
    supply = KPA_PER_1000RPM * rpm / 1000.0 * np.exp((100.0 - oil_c) / THINNING_C)
    held: FloatArray = scale * supply / (1.0 + (supply / RELIEF_KPA) ** 5) ** 0.2
    return held


def boost_kpa(throttle: FloatArray, rpm: FloatArray) -> FloatArray:
    """Manifold pressure of a running engine, kPa gauge; follows the throttle with a lag."""
    spool = np.clip((rpm - 1500.0) / SPOOL_RPM, 0.0, 1.0)
    full = FULL_BOOST_KPA * spool
    return lagged(VACUUM_KPA + (full - VACUUM_KPA) * throttle**0.8, MANIFOLD_LAG_S, VACUUM_KPA)


def lagged(target: FloatArray, lag_s: float, start: float) -> FloatArray:
    """First-order response to `target`, from the value `start`."""
    share = STEP_S / lag_s
    response: FloatArray = lfilter([share], [1.0, share - 1.0], target - start) + start
    return response
