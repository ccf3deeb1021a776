"""Drift of oil pressure since the refresh: the slow sign of opening bearing clearance.

Each run's steady oil pressure is held against what the build's own surface expects, frozen from its
first runs; the logarithm of their ratio, run by run, is followed over the running hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy import special

from babbitt.model.run import FloatArray

USUAL_SPREAD = 0.015
"""Standard deviation of the log-ratio from run to run that is expected before any was seen: oil
level, oil grade and sensor (common practice, no source)."""

TRUST = 4.0
"""Runs that this expectation counts for (common practice, no source)."""

RPM_REACH = 1000.0
OIL_C_REACH = 15.0
"""Steady running so near the point that is told of counts for it."""

RPM_STEP = 500.0
OIL_C_STEP = 5.0
"""The point that is told of is a multiple of these."""

LEAST_STEADY_S = 3.0
"""A run with less steady running near the point is left out (common practice, no source)."""

_HUBER = 1.345  # 95 % efficiency on normal noise (Huber 1964)
_ROUNDS = 20


@dataclass(frozen=True, eq=False)
class SteadyRun:
    """Steady oil pressure of one run beside what is expected of its build.

    Attributes:
        run_id: the run.
        hours: running hours of the build at the middle of the run.
        rpm: 1/min; shape (bins,).
        oil_c: °C; shape (bins,).
        seconds: how long each bin was seen; shape (bins,).
        log_ratio: ln of pressure over expected pressure; shape (bins,).
    """

    run_id: str
    hours: float
    rpm: FloatArray
    oil_c: FloatArray
    seconds: FloatArray
    log_ratio: FloatArray


@dataclass(frozen=True)
class Drift:
    """How far oil pressure has moved since the build was fresh, at one point of running.

    Attributes:
        rpm: of the point, 1/min.
        oil_c: of the point, °C.
        change: as a share: -0.05 is 5 % lower; with its 90 % interval.
        low: lower end.
        high: upper end.
        hours: running hours of the build that it is told for.
        runs: that it comes from.
    """

    rpm: float
    oil_c: float
    change: float
    low: float
    high: float
    hours: float
    runs: int

    @property
    def falling(self) -> bool:
        """Whether the pressure has fallen beyond doubt: the whole interval says so."""
        return self.high < 0.0

    def to_json(self) -> dict[str, Any]:
        """Return it as the command line writes it."""
        return asdict(self)


def pressure_drift(runs: Sequence[SteadyRun], *, above_rpm: float) -> Drift | None:
    """Return how far oil pressure has moved since the build was fresh.

    The log-ratio of a run is the median of its bins near the point, weighted by time. A line
    through the runs, fitted with Huber's weights, gives the change from the first hour to the last;
    its error is that of a line with normal noise, whose variance is estimated from the runs
    together with USUAL_SPREAD, so that two runs are not taken at their word.

    Args:
        runs: of one build, in order.
        above_rpm: slower running is left out: the floor line begins there.

    Returns:
        None while fewer than two runs hold steady running at one point.
    """
    point = _busiest(runs, above_rpm)
    if point is None:
        return None
    hours, ratios = ratios_at(runs, point)
    if len(np.unique(hours)) < 2:
        return None
    change, error, freedom = _change(hours, ratios)
    away = error * float(special.stdtrit(freedom, 0.95))
    low, middle, high = np.expm1([change - away, change, change + away]).tolist()
    rpm, oil_c = point
    return Drift(rpm, oil_c, middle, low, high, float(hours[-1]), len(hours))


def ratios_at(
    runs: Sequence[SteadyRun], point: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Return running hours and log-ratio of the runs that ran steadily near a point.

    Args:
        runs: of one build, in order.
        point: engine speed, 1/min, and oil temperature, °C.

    Returns:
        Running hours at the middle of each such run, and ln of its pressure over the expected one.
    """
    near = [(run.hours, ratio) for run in runs if (ratio := _ratio(run, point)) is not None]
    hours, ratios = np.array(near, dtype=np.float64).reshape(-1, 2).T
    return hours, ratios


def _busiest(runs: Sequence[SteadyRun], above_rpm: float) -> tuple[float, float] | None:
    """Return the point of running that most runs, and then most seconds, were near."""
    if not runs:
        return None
    rpm, oil_c, seconds, run = (
        np.concatenate(columns)
        for columns in zip(
            *((r.rpm, r.oil_c, r.seconds, np.full(len(r.rpm), i)) for i, r in enumerate(runs)),
            strict=True,
        )
    )
    fast = rpm > above_rpm
    points = np.unique(
        np.column_stack(
            [
                np.round(rpm[fast] / RPM_STEP) * RPM_STEP,
                np.round(oil_c[fast] / OIL_C_STEP) * OIL_C_STEP,
            ]
        ),
        axis=0,
    )
    best, best_score = None, (1, 0.0)
    for at_rpm, at_c in points.tolist():
        near = fast & (np.abs(rpm - at_rpm) <= RPM_REACH) & (np.abs(oil_c - at_c) <= OIL_C_REACH)
        held = np.bincount(run[near].astype(np.intp), weights=seconds[near])
        score = (int((held >= LEAST_STEADY_S).sum()), float(seconds[near].sum()))
        if score > best_score:
            best, best_score = (at_rpm, at_c), score
    return best


def _ratio(run: SteadyRun, point: tuple[float, float]) -> float | None:
    near = np.abs(run.rpm - point[0]) <= RPM_REACH
    near &= np.abs(run.oil_c - point[1]) <= OIL_C_REACH
    seconds = run.seconds[near]
    if seconds.sum() < LEAST_STEADY_S:
        return None
    order = np.argsort(run.log_ratio[near])
    below = np.cumsum(seconds[order])
    middle = int(np.searchsorted(below, 0.5 * below[-1]))
    return float(run.log_ratio[near][order][middle])


def _change(hours: FloatArray, ratios: FloatArray) -> tuple[float, float, float]:
    """Return the change over all hours, its standard error and its degrees of freedom."""
    weights = np.ones(len(hours))
    for _ in range(_ROUNDS):
        centre = np.average(hours, weights=weights)
        away = hours - centre
        square = float((weights * away**2).sum())
        slope = float((weights * away * ratios).sum()) / square
        rest = ratios - np.average(ratios, weights=weights) - slope * away
        freedom = TRUST + max(float(weights.sum()) - 2.0, 0.0)
        spread = np.sqrt((TRUST * USUAL_SPREAD**2 + (weights * rest**2).sum()) / freedom)
        weights = np.minimum(1.0, _HUBER * spread / np.maximum(np.abs(rest), 1e-12))
    return slope * float(hours[-1]), float(spread) / np.sqrt(square) * float(hours[-1]), freedom
