"""What one run put on its engine: running, starts, heat cycles, peaks, time by speed and boost."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from pipeline.exposure import Exposure, RunningTable
from pipeline.run import BoolArray, ChannelArray, FloatArray, Run
from pipeline.running import interval_s, running
from pipeline.spec import EngineSpec, Kind
from pipeline.totals.coolant import boiling_point_c
from pipeline.totals.heat_cycles import heat_cycles
from pipeline.totals.kinematics import mean_piston_speed_m_s, peak_piston_acceleration_m_s2
from pipeline.totals.tilt import oil_angle_deg

RPM_STEP = 500
RPM_EDGES = (*(float(rpm) for rpm in range(0, 10_001, RPM_STEP)), 16_000.0)
"""Edges of the running table, 1/min; the last cell is open: no usable sample reads more."""

BOOST_STEP_KPA = 20
BOOST_EDGES_KPA = (-105.0, *(float(kpa) for kpa in range(0, 301, BOOST_STEP_KPA)), 600.0)
"""Edges of the running table, kPa gauge; the first and last cell are open likewise."""

CHUNK = 65_536
"""Samples taken at a time, so that what they need stays in the processor's cache."""


def expose(run: Run, spec: EngineSpec, watched_s: Mapping[Kind, float]) -> Exposure:
    """Return what a run put on its engine.

    Only usable samples count; a few bad ones between them are bridged, gaps in the log count for
    nothing. Heat cycles are those that lie within this run (see `heat_cycles`).

    Args:
        run: any channel may be missing: what it would have told is None, or 0 without `rpm`.
        spec: idle speed, geometry and coolant of the engine.
        watched_s: seconds in which each kind of harm could have been seen.
    """
    engine, cooling = spec.engine, spec.coolant_temperature
    on = running(run, engine.idle_rpm)
    seconds = _running_seconds(run, on)
    peak_rpm = _extreme(np.max, _usable(run, "rpm"))
    lateral_g = _usable(run, "lateral_g")
    coolant_c = _usable(run, "coolant_temperature")
    boils_c = boiling_point_c(cooling.cap_kpa, cooling.glycol_percent)
    return Exposure(
        running_s=float(seconds.sum()),
        revolutions=_revolutions(run, on, seconds),
        starts=_starts(run, on),
        heat_cycles=heat_cycles(coolant_c) if len(coolant_c) else None,
        watched_s=dict(watched_s),
        table=_table(run, on, seconds),
        peak_rpm=peak_rpm,
        peak_mean_piston_speed_m_s=_of(
            peak_rpm, lambda rpm: mean_piston_speed_m_s(engine.stroke_mm, rpm)
        ),
        peak_piston_acceleration_m_s2=_of(
            peak_rpm,
            lambda rpm: peak_piston_acceleration_m_s2(engine.stroke_mm, engine.rod_length_mm, rpm),
        ),
        peak_oil_angle_left_deg=_of(
            _extreme(np.max, lateral_g), lambda g: oil_angle_deg(max(g, 0.0))
        ),
        peak_oil_angle_right_deg=_of(
            _extreme(np.min, lateral_g), lambda g: oil_angle_deg(max(-g, 0.0))
        ),
        least_boiling_margin_k=_of(_extreme(np.max, coolant_c), lambda c: boils_c - c),
    )


def _usable(run: Run, name: str) -> ChannelArray:
    """Return the usable values of a channel, none where the run does not have it."""
    signal = run.signals.get(name)
    if signal is None:
        return np.zeros(0, dtype=np.float32)
    usable = signal.usable()
    return signal.values if usable.all() else signal.values[usable]


def _extreme(pick: Callable[[ChannelArray], np.float32], values: ChannelArray) -> float | None:
    return float(pick(values)) if len(values) else None


def _of(value: float | None, function: Callable[[float], float]) -> float | None:
    return None if value is None else function(value)


def _running_seconds(run: Run, on: BoolArray) -> FloatArray:
    """Return the running seconds that each sample stands for; shape (samples,)."""
    if not on.any():
        return np.zeros(len(on))
    usable = run.signals["rpm"].usable()
    if usable.all():
        seconds = interval_s(run.time_s, run.info.max_gap_s)
    else:
        seconds = np.zeros(len(on))
        seconds[usable] = interval_s(run.time_s[usable], run.info.max_gap_s)
    seconds *= on
    return seconds


def _revolutions(run: Run, on: BoolArray, seconds: FloatArray) -> float:
    """Return the trapezoidal integral of engine speed while running."""
    if not on.any():
        return 0.0
    rpm = np.where(on, run.signals["rpm"].values, np.float32(0.0))  # what is missing is NaN
    return float((seconds * rpm).sum()) / 60.0


def _starts(run: Run, on: BoolArray) -> int:
    """Count the changes from off to running; bad samples between the two do not matter.

    A log that begins with the engine running holds no start of it, and a gap is no stop.
    """
    if not on.any():
        return 0
    known = on[run.signals["rpm"].usable()]
    return int(np.count_nonzero(known[1:] & ~known[:-1]))


def _table(run: Run, on: BoolArray, seconds: FloatArray) -> RunningTable:
    rows, columns = len(RPM_EDGES) - 1, len(BOOST_EDGES_KPA) - 1
    cells = np.zeros(rows * columns)
    if on.any() and "boost" in run.signals:
        rpm, boost = run.signals["rpm"], run.signals["boost"]
        at = on & boost.usable()
        for begin in range(0, len(on), CHUNK):
            some = slice(begin, begin + CHUNK)
            cell = _cell(rpm.values[some][at[some]], boost.values[some][at[some]])
            cells += np.bincount(cell, seconds[some][at[some]], rows * columns)
    table = cells.reshape(rows, columns).tolist()
    return RunningTable(RPM_EDGES, BOOST_EDGES_KPA, tuple(tuple(row) for row in table))


def _cell(rpm: ChannelArray, boost: ChannelArray) -> npt.NDArray[np.int32]:
    """Return each sample's place in the running table, counted row by row."""
    rows, columns = len(RPM_EDGES) - 1, len(BOOST_EDGES_KPA) - 1
    row = np.minimum((rpm / RPM_STEP).astype(np.int32), rows - 1)
    column = np.floor(boost / BOOST_STEP_KPA).astype(np.int32) + 1
    return row * columns + np.clip(column, 0, columns - 1)
