"""What one run put on its engine: running, starts, heat cycles, peaks, time by speed and boost."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from babbitt.model.engine_running import interval_s, running
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.exposure import Exposure, RunningTable
from babbitt.model.kinds import Kind
from babbitt.model.run import BoolArray, ChannelArray, FloatArray, Run
from babbitt.model.run_windows import Window, whole
from babbitt.totals.coolant import boiling_point_c
from babbitt.totals.fatigue import SPEEDS, SPRING_EXPONENT, add_seconds, fatigue_s
from babbitt.totals.heat_cycles import heat_cycles, swings
from babbitt.totals.kinematics import mean_piston_speed_m_s, peak_piston_acceleration_m_s2
from babbitt.totals.tilt import oil_angle_deg

RPM_STEP = 500
RPM_EDGES = (*(float(rpm) for rpm in range(0, 10_001, RPM_STEP)), 16_000.0)
"""Edges of the running table, 1/min; the last cell is open: no usable sample reads more."""

BOOST_STEP_KPA = 20
BOOST_EDGES_KPA = (-105.0, *(float(kpa) for kpa in range(0, 301, BOOST_STEP_KPA)), 600.0)
"""Edges of the running table, kPa gauge; the first and last cell are open likewise."""

CHUNK = 65_536
"""Samples taken at a time, so that what they need stays in the processor's cache."""


def expose(run: Run, spec: EngineSpec, watched_s: Mapping[Kind, float]) -> Exposure:
    """Return what a run put on its engine, as `ExposureSum` does for its stretches."""
    total = ExposureSum(spec)
    total.add(whole(run))
    return total.exposure(watched_s)


class ExposureSum:
    """What a run put on its engine, summed up stretch by stretch.

    Only usable samples count; a few bad ones between them are bridged, gaps in the log count for
    nothing. Heat cycles are those that lie within this run (see `heat_cycles`).
    """

    def __init__(self, spec: EngineSpec) -> None:
        """Begin with nothing.

        Args:
            spec: idle speed, geometry and coolant of the engine.
        """
        self._spec = spec
        self._running_s = self._revolutions = 0.0
        self._starts = 0
        self._cells = np.zeros((len(RPM_EDGES) - 1) * (len(BOOST_EDGES_KPA) - 1))
        self._seconds_at = np.zeros(SPEEDS)
        self._rpm: float | None = None
        self._left_g: float | None = None
        self._right_g: float | None = None
        self._coolant_c: float | None = None
        self._coolant_points: list[ChannelArray] = []

    def add(self, window: Window) -> None:
        """Add the next stretch; any channel may be missing."""
        run, core = window.run, window.core
        on = running(run, self._spec.engine.idle_rpm)
        seconds = _running_seconds(run, on)[core]
        self._running_s += float(seconds.sum())
        self._revolutions += _revolutions(run, on, seconds, core)
        self._starts += _starts(run, on, core)
        _add_table(self._cells, run, on, seconds, core)
        if on.any():
            rpm = run.signals["rpm"].values[core]
            add_seconds(self._seconds_at, rpm[on[core]], seconds[on[core]])
        lateral_g = _usable(run, "lateral_g", core)
        coolant_c = _usable(run, "coolant_temperature", core)
        self._rpm = _higher(self._rpm, _usable(run, "rpm", core))
        self._left_g = _higher(self._left_g, lateral_g)
        self._right_g = _higher(self._right_g, -lateral_g)
        self._coolant_c = _higher(self._coolant_c, coolant_c)
        if len(coolant_c):
            self._coolant_points.append(swings(coolant_c))

    def exposure(self, watched_s: Mapping[Kind, float]) -> Exposure:
        """Return the sum: what a missing channel would have told is None, or 0 without `rpm`.

        Args:
            watched_s: seconds in which each kind of harm could have been seen.
        """
        engine, cooling = self._spec.engine, self._spec.coolant_temperature
        limits = self._spec.over_rev
        boils_c = boiling_point_c(cooling.cap_kpa, cooling.glycol_percent)
        rows, columns = len(RPM_EDGES) - 1, len(BOOST_EDGES_KPA) - 1
        table = self._cells.reshape(rows, columns).tolist()
        points = self._coolant_points
        return Exposure(
            running_s=self._running_s,
            revolutions=self._revolutions,
            starts=self._starts,
            heat_cycles=heat_cycles(np.concatenate(points)) if points else None,
            rod_fatigue_s=fatigue_s(self._seconds_at, limits.redline_rpm, limits.fatigue_exponent),
            spring_fatigue_s=fatigue_s(self._seconds_at, limits.redline_rpm, SPRING_EXPONENT),
            watched_s=dict(watched_s),
            table=RunningTable(RPM_EDGES, BOOST_EDGES_KPA, tuple(tuple(row) for row in table)),
            peak_rpm=self._rpm,
            peak_mean_piston_speed_m_s=_of(
                self._rpm, lambda rpm: mean_piston_speed_m_s(engine.stroke_mm, rpm)
            ),
            peak_piston_acceleration_m_s2=_of(
                self._rpm,
                lambda rpm: peak_piston_acceleration_m_s2(
                    engine.stroke_mm, engine.rod_length_mm, rpm
                ),
            ),
            peak_oil_angle_left_deg=_of(self._left_g, lambda g: oil_angle_deg(max(g, 0.0))),
            peak_oil_angle_right_deg=_of(self._right_g, lambda g: oil_angle_deg(max(g, 0.0))),
            least_boiling_margin_k=_of(self._coolant_c, lambda c: boils_c - c),
        )


def _usable(run: Run, name: str, core: slice) -> ChannelArray:
    """Return the usable values of a channel, none where the run does not have it."""
    signal = run.signals.get(name)
    if signal is None:
        return np.zeros(0, dtype=np.float32)
    values, usable = signal.values[core], signal.usable()[core]
    return values if usable.all() else values[usable]


def _higher(highest: float | None, values: ChannelArray) -> float | None:
    """Return the highest of what was so far and of the values."""
    if not len(values):
        return highest
    found = float(values.max())
    return found if highest is None else max(highest, found)


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


def _revolutions(run: Run, on: BoolArray, seconds: FloatArray, core: slice) -> float:
    """Return the trapezoidal integral of engine speed while running."""
    if not on.any():
        return 0.0
    # What is missing is NaN.
    rpm = np.where(on[core], run.signals["rpm"].values[core], np.float32(0.0))
    return float((seconds * rpm).sum()) / 60.0


def _starts(run: Run, on: BoolArray, core: slice) -> int:
    """Count the changes from off to running; bad samples between the two do not matter.

    A log that begins with the engine running holds no start of it, and a gap is no stop.
    """
    if not on.any():
        return 0
    usable = np.flatnonzero(run.signals["rpm"].usable())
    known = on[usable]
    started = usable[1:][known[1:] & ~known[:-1]]
    return int(np.count_nonzero((started >= core.start) & (started < core.stop)))


def _add_table(
    cells: FloatArray, run: Run, on: BoolArray, seconds: FloatArray, core: slice
) -> None:
    """Add the running seconds of a stretch to their cells, counted row by row."""
    if not on.any() or "boost" not in run.signals:
        return
    rpm, boost = run.signals["rpm"].values[core], run.signals["boost"].values[core]
    at = on[core] & run.signals["boost"].usable()[core]
    for begin in range(0, len(at), CHUNK):
        some = slice(begin, begin + CHUNK)
        cell = _cell(rpm[some][at[some]], boost[some][at[some]])
        cells += np.bincount(cell, seconds[some][at[some]], len(cells))


def _cell(rpm: ChannelArray, boost: ChannelArray) -> npt.NDArray[np.int32]:
    """Return each sample's place in the running table, counted row by row."""
    rows, columns = len(RPM_EDGES) - 1, len(BOOST_EDGES_KPA) - 1
    row = np.minimum((rpm / RPM_STEP).astype(np.int32), rows - 1)
    column = np.floor(boost / BOOST_STEP_KPA).astype(np.int32) + 1
    return row * columns + np.clip(column, 0, columns - 1)
