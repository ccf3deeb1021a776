"""Fatigue: what every turn takes of parts, not only those past the redline."""

from __future__ import annotations

import numpy as np

from babbitt.model.run import ChannelArray, FloatArray

HARD_LAP = 0.85
"""Of the redline: an hour there counts as an hour (our own choice: a hard lap's mean)."""

SPRING_EXPONENT = 8.0
"""Of Basquin's law for steel in torsion, such as spring wire; that of steel in tension is 5, the
default of [over_rev] fatigue_exponent (FKM guideline, from memory)."""

SPEEDS = 16_001
"""Steps of 1 1/min in which running time is counted; no usable sample reads more."""


def fatigue_s(seconds_at: FloatArray, redline_rpm: float, exponent: float) -> float:
    """Return the seconds at HARD_LAP of the redline that fatigue a part as much.

    The load on what reciprocates is m r w² (1 + r/l): it grows with the square of engine speed,
    and mass and geometry cancel out. A turn takes 1/N of the life of a part, N falling with the
    exponent-th power of load (Basquin), and shares of life add up (Palmgren-Miner). So a second,
    which has as many turns as the engine makes, counts (speed / hard lap)^(2 exponent + 1).

    Args:
        seconds_at: running time at each engine speed, in steps of 1 1/min; shape (SPEEDS,).
        redline_rpm: of [over_rev].
        exponent: of Basquin's law.
    """
    speed_rpm = np.arange(len(seconds_at)) + 0.5
    weight = (speed_rpm / (HARD_LAP * redline_rpm)) ** (2.0 * exponent + 1.0)
    return float(seconds_at @ weight)


def add_seconds(seconds_at: FloatArray, rpm: ChannelArray, seconds: FloatArray) -> None:
    """Add running time to the engine speeds at which it was; see `fatigue_s`.

    Args:
        seconds_at: added to; shape (SPEEDS,).
        rpm: of samples while running; shape (samples,).
        seconds: that each stands for; shape (samples,).
    """
    speed = np.minimum(rpm.astype(np.int32), SPEEDS - 1)
    seconds_at += np.bincount(speed, seconds, SPEEDS)
