"""What the sensors of an engine usually read: the middle of its earlier runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from babbitt.sensors.summary import Level, PressureAt, SensorSummary


@dataclass(frozen=True)
class Usual:
    """The medians of earlier runs; what none of them saw is left out.

    Attributes:
        runs: how many there are.
        standing: channel -> its usual level with the engine at rest.
        idling: channel -> its usual level at low engine speed.
        running: channel -> its usual level with the engine running.
        top_rpm: usual highest engine speed; None: unknown.
        pressure: engine speed, 1/min -> usual oil pressure, kPa.
    """

    runs: int
    standing: Mapping[str, Level]
    idling: Mapping[str, Level]
    running: Mapping[str, Level]
    top_rpm: float | None
    pressure: Mapping[float, float]


def usual_of(earlier: Sequence[SensorSummary]) -> Usual:
    """Return what earlier runs of an engine usually read."""
    tops = [summary.top_rpm for summary in earlier if summary.top_rpm is not None]
    return Usual(
        runs=len(earlier),
        standing=_middle([summary.standing for summary in earlier]),
        idling=_middle([summary.idling for summary in earlier]),
        running=_middle([summary.running for summary in earlier]),
        top_rpm=median(tops) if tops else None,
        pressure=_pressures([summary.pressure for summary in earlier]),
    )


def _middle(levels: Sequence[Mapping[str, Level]]) -> dict[str, Level]:
    names = sorted({name for each in levels for name in each})
    found = {}
    for name in names:
        rows = [each[name] for each in levels if name in each]
        table = zip(*((row.seconds, row.low, row.median, row.high) for row in rows), strict=True)
        found[name] = Level(*map(median, table))
    return found


def _pressures(curves: Sequence[Sequence[PressureAt]]) -> dict[float, float]:
    speeds = sorted({point.rpm for curve in curves for point in curve})
    return {rpm: median(p.kpa for curve in curves for p in curve if p.rpm == rpm) for rpm in speeds}
