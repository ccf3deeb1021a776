"""Passes of the line that a log tells itself, by its own lap channels or by position."""

from __future__ import annotations

import numpy as np

from babbitt.laps.motion import EARTH_M, Motion, filled
from babbitt.model.layout import Line
from babbitt.model.run import FloatArray

LEAST_LAP_S = 8.0
"""No lap of a circuit is shorter (our own choice)."""

WITHIN_M = 25.0
"""Half the width of the line: a wide straight, and the error of a plain receiver."""

_CANDIDATES = 60
_LEAST_SHARE_OF_POSITION = 0.85


def by_lap_number(motion: Motion) -> tuple[FloatArray, tuple[int, ...]] | None:
    """Return when the lap number grew, s, and the number of each lap that began then."""
    if motion.lap_number is None:
        return None
    known = np.flatnonzero(np.isfinite(motion.lap_number))
    number = np.round(motion.lap_number[known])
    grew = np.flatnonzero(np.diff(number) > 0)
    if not len(grew):
        return None
    at = 0.5 * (motion.time_s[known[grew]] + motion.time_s[known[grew + 1]])
    return at, tuple(int(each) for each in number[grew + 1])


def by_beacon(motion: Motion) -> FloatArray | None:
    """Return when a beacon's pulses rose, s; None without two of them."""
    if motion.beacon is None:
        return None
    known = np.flatnonzero(np.isfinite(motion.beacon))
    values = motion.beacon[known]
    if not len(values) or values.max() <= values.min():
        return None
    high = values > 0.5 * (values.max() + values.min())
    if high.mean() > 0.5:  # the line is at rest high, and falls
        high = ~high
    return _apart(motion.time_s[known[np.flatnonzero(high[1:] & ~high[:-1]) + 1]])


def by_lap_time(motion: Motion) -> FloatArray | None:
    """Return when a running lap time began anew, or the time of the last lap changed, s."""
    if motion.lap_time_s is None:
        return None
    known = np.flatnonzero(np.isfinite(motion.lap_time_s))
    if len(known) < 2:
        return None
    values, time = motion.lap_time_s[known], motion.time_s[known]
    steps, passed = np.diff(values), np.diff(time)
    if np.mean(np.abs(steps - passed) < 0.5 * passed) > 0.5:  # it runs with the clock
        began = np.flatnonzero((steps < -LEAST_LAP_S) & (values[1:] < LEAST_LAP_S))
        return _apart(time[began + 1] - values[began + 1])
    return _apart(time[np.flatnonzero(np.abs(steps) > 1e-4) + 1])


def by_distance(motion: Motion) -> FloatArray | None:
    """Return when a distance that is counted by the lap began anew, s."""
    if motion.distance_m is None:
        return None
    known = np.flatnonzero(np.isfinite(motion.distance_m))
    values, time = motion.distance_m[known], motion.time_s[known]
    began = np.flatnonzero((np.diff(values) < -100.0) & (values[1:] < 100.0))
    return _apart(time[began + 1])


def by_position(motion: Motion, line: Line | None) -> tuple[FloatArray, Line] | None:
    """Return when the car crossed a line, s, and that line; None without two crossings.

    Args:
        motion: of the run.
        line: where laps begin; None: where the car comes by most often, and there the fastest.
    """
    if motion.x_m is None or motion.y_m is None or motion.origin is None:
        return None
    moving = ~motion.standing
    known = np.isfinite(motion.x_m) & moving
    if np.count_nonzero(known) < _LEAST_SHARE_OF_POSITION * np.count_nonzero(moving):
        return None
    x, y = motion.x_m, motion.y_m
    heading, speed = _course(motion.time_s, x, y)
    if line is not None:
        east, north = to_plane(line.latitude, line.longitude, motion.origin)
        found = _crossings(motion.time_s, x, y, heading, (east, north, line.heading_rad))
        return (found, line) if len(found) >= 2 else None
    middle = np.flatnonzero(known & (speed > 0.6 * np.nanpercentile(speed[known], 90)))
    best: tuple[int, float, FloatArray, int] | None = None
    for at in middle[np.linspace(0, len(middle) - 1, _CANDIDATES).astype(int)]:
        found = _crossings(motion.time_s, x, y, heading, (x[at], y[at], heading[at]))
        spans = np.diff(found)
        alike = int(np.count_nonzero(spans < 1.3 * np.median(spans))) if len(spans) else 0
        if alike and (best is None or (alike, speed[at]) > best[:2]):
            best = alike, float(speed[at]), found, int(at)
    if best is None:
        return None
    latitude, longitude = from_plane(float(x[best[3]]), float(y[best[3]]), motion.origin)
    return best[2], Line(latitude, longitude, float(heading[best[3]]))


def to_plane(latitude: float, longitude: float, origin: tuple[float, float]) -> tuple[float, float]:
    """Return metres east and north of an origin."""
    north = np.radians(latitude - origin[0]) * EARTH_M
    east = np.radians(longitude - origin[1]) * EARTH_M * np.cos(np.radians(origin[0]))
    return float(east), float(north)


def from_plane(x_m: float, y_m: float, origin: tuple[float, float]) -> tuple[float, float]:
    """Return the latitude and longitude of a place that lies so far from an origin, degrees."""
    latitude = origin[0] + np.degrees(y_m / EARTH_M)
    longitude = origin[1] + np.degrees(x_m / EARTH_M / np.cos(np.radians(origin[0])))
    return float(latitude), float(longitude)


def _course(t: FloatArray, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return heading and speed over half a second, NaN where unknown."""
    before = np.maximum(np.arange(len(t)) - 6, 0)
    after = np.minimum(np.arange(len(t)) + 6, len(t) - 1)
    dx, dy = x[after] - x[before], y[after] - y[before]
    return np.arctan2(dy, dx), np.hypot(dx, dy) / np.maximum(t[after] - t[before], 1e-6)


def _crossings(
    time_s: FloatArray,
    x: FloatArray,
    y: FloatArray,
    heading: FloatArray,
    line: tuple[float, float, float],
) -> FloatArray:
    east, north, course = line
    along = (x - east) * np.cos(course) + (y - north) * np.sin(course)
    across = (y - north) * np.cos(course) - (x - east) * np.sin(course)
    with np.errstate(invalid="ignore"):
        over = (along[:-1] < 0.0) & (along[1:] >= 0.0) & (np.abs(across[1:]) < WITHIN_M)
        over &= (along[1:] - along[:-1] < 4.0 * WITHIN_M) & (np.cos(heading[1:] - course) > 0.5)
    at = np.flatnonzero(over)
    share = -along[at] / (along[at + 1] - along[at])
    return _apart(time_s[at] + share * (time_s[at + 1] - time_s[at]))


def _apart(times_s: FloatArray) -> FloatArray:
    """Return instants without those that follow another too soon."""
    kept: list[float] = []
    for each in times_s:
        if not kept or each - kept[-1] >= LEAST_LAP_S:
            kept.append(float(each))
    return np.array(kept)


def lateral_known(motion: Motion) -> FloatArray | None:
    """Return lateral acceleration without holes; None where too little of it is known."""
    values = motion.lateral_g
    if values is None or not len(values) or np.isfinite(values).mean() < 0.5:
        return None
    return filled(motion.time_s, values)
