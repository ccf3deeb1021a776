"""What one run put on an engine, apart from its events; and the sums over many runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from babbitt.model.kinds import Kind


@dataclass(frozen=True)
class RunningTable:
    """Running time by engine speed and boost.

    Attributes:
        rpm_edges: 1/min, ascending; shape (n + 1,).
        boost_edges_kpa: kPa gauge, ascending; shape (m + 1,).
        seconds: time in each cell, rpm by row; shape (n, m). Time without a usable boost sample
            is in no cell.
    """

    rpm_edges: tuple[float, ...]
    boost_edges_kpa: tuple[float, ...]
    seconds: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Exposure:
    """What a run put on an engine; None where the log could not tell.

    Attributes:
        running_s: seconds with the engine running.
        revolutions: of the crankshaft while running.
        starts: times the engine was started.
        heat_cycles: cycles of coolant temperature, half cycles counted 0.5 (rainflow, ASTM E1049).
        watched_s: running seconds in which each kind of harm could have been seen.
        table: running time by engine speed and boost.
        peak_rpm: highest usable engine speed, 1/min.
        peak_mean_piston_speed_m_s: 2 x stroke x speed at peak_rpm.
        peak_piston_acceleration_m_s2: at top dead centre, at peak_rpm.
        peak_oil_angle_left_deg: steepest tilt of the sump's oil surface in left-hand corners,
            atan(a/g); a steady, unbaffled surface.
        peak_oil_angle_right_deg: the same in right-hand corners.
        least_boiling_margin_k: least distance of the coolant from boiling at cap pressure.
        rod_fatigue_s: seconds at a hard lap's speed that fatigue rods, bolts and pins as much; see
            totals/fatigue.py. None: exposed before this was counted.
        spring_fatigue_s: the same of valve springs.
    """

    running_s: float
    revolutions: float
    starts: int
    heat_cycles: float | None
    watched_s: dict[Kind, float]
    table: RunningTable
    peak_rpm: float | None
    peak_mean_piston_speed_m_s: float | None
    peak_piston_acceleration_m_s2: float | None
    peak_oil_angle_left_deg: float | None
    peak_oil_angle_right_deg: float | None
    least_boiling_margin_k: float | None
    rod_fatigue_s: float | None = None
    spring_fatigue_s: float | None = None


@dataclass(frozen=True)
class KindSums:
    """What the runs of a window hold of one kind of harm.

    Attributes:
        watched_s: running seconds in which it could have been seen.
        count: events, without those reviewed as sensor fault or harmless.
        duration_s: their durations, summed.
        dose: their doses, summed, in the unit of the kind.
        stale: how many of them were found under other limits than the engine's present ones.
    """

    watched_s: float
    count: int
    duration_s: float
    dose: float
    stale: int


@dataclass(frozen=True)
class WindowSums:
    """Plain sums over the runs that an engine or a part made in a window; removed runs are out.

    Attributes:
        runs: all of them, unlogged ones among them.
        unlogged_runs: entries of running that no logger saw.
        running_s: all running seconds, unlogged ones among them.
        unlogged_s: running seconds that no logger saw.
        revolutions: of the logged runs, and of running before the logs where they are known.
        starts: of the logged runs.
        heat_cycles: of the runs that could tell; 0 where none could.
        runs_without_heat_cycles: runs that could not tell, unlogged ones among them.
        kinds: sums of every kind of harm.
        first_start: UTC start of the earliest run; None without runs.
        last_end: UTC end of the run that ended last; None without runs.
        history_s: running seconds from before the logs, among running_s and unlogged_s.
        uncounted_s: running seconds whose revolutions nobody knows.
        rod_fatigue_s: of the logged runs.
        spring_fatigue_s: of the logged runs.
    """

    runs: int
    unlogged_runs: int
    running_s: float
    unlogged_s: float
    revolutions: float
    starts: int
    heat_cycles: float
    runs_without_heat_cycles: int
    kinds: Mapping[Kind, KindSums]
    first_start: datetime | None
    last_end: datetime | None
    history_s: float = 0.0
    uncounted_s: float = 0.0
    rod_fatigue_s: float = 0.0
    spring_fatigue_s: float = 0.0
