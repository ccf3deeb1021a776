"""What one run put on an engine, apart from its events."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.spec import Kind


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
