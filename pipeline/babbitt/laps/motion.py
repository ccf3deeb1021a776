"""How the car moved, at 20 samples a second: all that laps, corners and the map need of a run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from babbitt.model.run import BoolArray, FloatArray, Run, Signal

STEP_S = 0.05
EARTH_M = 6_371_008.8
"""Mean radius of the Earth, m (IUGG; from memory)."""
GRAVITY_M_S2 = 9.80665

_MEANS = ("rpm", "lateral_g", "speed")
_LATEST = ("distance", "latitude", "longitude", "lap_number", "lap_time")
_HIGHEST = ("beacon",)
CHANNELS = (*_MEANS, *_LATEST, *_HIGHEST)
"""Channels of a run that are read."""

TELLING = ("lateral_g", "latitude", "lap_number", "beacon", "lap_time", "distance")
"""Channels without any of which no lap can be found."""

_MOSTLY = 0.8
"""Share of a channel that must be known for what is driven between to be told by it."""

_FILLED_S = 2.0
_STANDING_KM_H = 4.0
_STANDING_RPM = 1800.0
"""An engine that turns no faster for seconds pulls no car round a circuit (common practice)."""


@dataclass(frozen=True)
class Motion:
    """The motion of a car: arrays of one shape (samples,), NaN where unknown, None if not logged.

    Attributes:
        time_s: seconds from the start of the run, strictly increasing.
        rpm: engine speed, 1/min.
        lateral_g: lateral acceleration, g, as signed in the run.
        speed_m_s: of the car.
        distance_m: as logged; it may begin anew with each lap.
        x_m: east of the middle of all positions.
        y_m: north of it.
        origin: latitude and longitude of that middle, degrees.
        lap_number: as logged.
        beacon: as logged.
        lap_time_s: as logged.
    """

    time_s: FloatArray
    rpm: FloatArray | None = None
    lateral_g: FloatArray | None = None
    speed_m_s: FloatArray | None = None
    distance_m: FloatArray | None = None
    x_m: FloatArray | None = None
    y_m: FloatArray | None = None
    origin: tuple[float, float] | None = None
    lap_number: FloatArray | None = None
    beacon: FloatArray | None = None
    lap_time_s: FloatArray | None = None

    @cached_property
    def travelled_m(self) -> FloatArray | None:
        """Metres driven since the start: by speed, else by position, else by distance."""
        if self.speed_m_s is not None and _known(self.speed_m_s) > _MOSTLY:
            speed = np.maximum(filled(self.time_s, self.speed_m_s), 0.0)
            steps = np.minimum(np.diff(self.time_s), 10.0) * 0.5 * (speed[1:] + speed[:-1])
        elif self.x_m is not None and self.y_m is not None and _known(self.x_m) > _MOSTLY:
            smooth = [smoothed(filled(self.time_s, each), 9) for each in (self.x_m, self.y_m)]
            steps = np.hypot(np.diff(smooth[0]), np.diff(smooth[1]))
            steps[steps < 0.02] = 0.0
        elif self.distance_m is not None and _known(self.distance_m) > _MOSTLY:
            steps = np.maximum(np.diff(filled(self.time_s, self.distance_m)), 0.0)
        else:
            return None
        return np.concatenate([[0.0], np.cumsum(steps)])

    @cached_property
    def pace_m_s(self) -> FloatArray | None:
        """Speed of the car, as logged or by what was travelled."""
        if self.speed_m_s is not None and _known(self.speed_m_s) > _MOSTLY:
            return filled(self.time_s, self.speed_m_s)
        if self.travelled_m is None:
            return None
        return smoothed(np.gradient(self.travelled_m, self.time_s), 11)

    @cached_property
    def standing(self) -> BoolArray:
        """Where the car stands, for 2 s at least; without its speed, by the engine's for 5 s."""
        if self.pace_m_s is not None:
            still, least_s = self.pace_m_s < _STANDING_KM_H / 3.6, 2.0
        elif self.rpm is not None:
            still, least_s = self.rpm < _STANDING_RPM, 5.0
        else:
            return np.zeros(len(self.time_s), dtype=np.bool_)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], still.view(np.int8), [0]])))
        held = np.zeros(len(still) + 1, dtype=np.int8)
        for first, stop in edges.reshape(-1, 2):
            if self.time_s[stop - 1] - self.time_s[first] >= least_s:
                held[first] += 1
                held[stop] -= 1
        return np.cumsum(held)[:-1].astype(np.bool_)


def motion_of(parts: Iterable[Run]) -> Motion:
    """Return the motion of a run that comes in parts, in order."""
    kept: dict[str, list[FloatArray]] = {}
    for part in parts:
        bins = np.floor(part.time_s / STEP_S)
        first = np.flatnonzero(np.diff(bins, prepend=-np.inf))
        last = np.append(first[1:], part.samples) - 1
        counts = np.diff(np.append(first, part.samples))
        kept.setdefault("time_s", []).append(np.add.reduceat(part.time_s, first) / counts)
        for name in CHANNELS:
            if name in part.signals:
                values = _usable(part.signals[name])
                kept.setdefault(name, []).append(_in_bins(name, values, first, last))
    every = {name: np.concatenate(pieces) for name, pieces in kept.items()}
    if "time_s" not in every:
        return Motion(np.zeros(0))
    time_s = every.pop("time_s")
    once = np.diff(time_s, prepend=-np.inf) > 0.0
    every = {name: values[once] for name, values in every.items()}
    speed = every.get("speed")
    motion = Motion(
        time_s[once],
        rpm=every.get("rpm"),
        lateral_g=every.get("lateral_g"),
        speed_m_s=None if speed is None else speed / 3.6,
        distance_m=every.get("distance"),
        lap_number=every.get("lap_number"),
        beacon=every.get("beacon"),
        lap_time_s=every.get("lap_time"),
    )
    if "latitude" in every and "longitude" in every:
        return _with_position(motion, every["latitude"], every["longitude"])
    return motion


def filled(time_s: FloatArray, values: FloatArray) -> FloatArray:
    """Return values with straight lines through what is unknown; zeros where nothing is known."""
    known = np.isfinite(values)
    if known.all():
        return values
    return np.interp(time_s, time_s[known], values[known]) if known.any() else np.zeros(len(values))


def smoothed(values: FloatArray, over: int) -> FloatArray:
    """Return the running mean over an odd number of samples, of fewer at the ends."""
    if over < 3 or len(values) < over:
        return values
    half = over // 2
    sums = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(len(values))
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
    means: FloatArray = (sums[high] - sums[low]) / (high - low)
    return means


def _usable(signal: Signal) -> FloatArray:
    return np.where(signal.usable(), signal.values.astype(np.float64), np.nan)


def _in_bins(
    name: str, values: FloatArray, first: npt.NDArray[np.intp], last: npt.NDArray[np.intp]
) -> FloatArray:
    if name in _LATEST:
        return values[last]
    known = np.isfinite(values)
    if name in _HIGHEST:
        highest = np.maximum.reduceat(np.where(known, values, -np.inf), first)
        return np.where(np.isfinite(highest), highest, np.nan)
    counts = np.add.reduceat(known.astype(np.float64), first)
    sums = np.add.reduceat(np.where(known, values, 0.0), first)
    means: FloatArray = np.full(len(first), np.nan)
    np.divide(sums, counts, out=means, where=counts > 0)
    return means


def _with_position(motion: Motion, latitude: FloatArray, longitude: FloatArray) -> Motion:
    """Return a motion with its positions on a plane that touches the Earth in their middle."""
    known = np.isfinite(latitude) & np.isfinite(longitude) & ~((latitude == 0) & (longitude == 0))
    if np.count_nonzero(known) < 20:
        return motion
    at = np.flatnonzero(known)
    origin = float(np.median(latitude[at])), float(np.median(longitude[at]))
    y = np.radians(latitude - origin[0]) * EARTH_M
    x = np.radians(longitude - origin[1]) * EARTH_M * np.cos(np.radians(origin[0]))
    # A receiver slower than the log repeats its fix: between two of them the car went on.
    fresh = at[np.concatenate([[True], (np.diff(x[at]) != 0.0) | (np.diff(y[at]) != 0.0)])]
    if len(fresh) < 20:
        return motion
    t = motion.time_s
    place = np.clip(np.searchsorted(t[fresh], t, side="right"), 1, len(fresh) - 1)
    apart = t[fresh[place]] - t[fresh[place - 1]]
    far = (apart > _FILLED_S) & (np.hypot(np.diff(x[fresh]), np.diff(y[fresh]))[place - 1] > 5.0)
    outside = (t < t[fresh[0]]) | (t > t[fresh[-1]])
    lost = far | outside
    x, y = (np.where(lost, np.nan, np.interp(t, t[fresh], each[fresh])) for each in (x, y))
    return replace(motion, x_m=x, y_m=y, origin=origin)


def _known(values: FloatArray) -> float:
    return float(np.isfinite(values).mean()) if len(values) else 0.0
