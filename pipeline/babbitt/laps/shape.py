"""The shape of a lap: its corners, its map, and how one lap's places lie beside another's."""

from __future__ import annotations

import numpy as np

from babbitt.laps.motion import smoothed
from babbitt.model.layout import Corner, CourseMap
from babbitt.model.run import FloatArray

CORNER_G = 0.25
CORNER_SHARE = 0.3
"""A corner is where a usual lap pulls more than both; the share is of its hardest (our choice)."""

LEAST_CORNER_S = 0.7
_MERGED_S = 0.6
_ANCHORS = 16
_AT_ONCE = 40


def corners_of(
    shape_g: FloatArray, lap_s: float, length_m: float | None, pace_m_s: FloatArray | None
) -> tuple[Corner, ...]:
    """Return the corners of a usual lap, numbered along it.

    Args:
        shape_g: lateral acceleration at even places; shape (POINTS,).
        lap_s: how long such a lap takes.
        length_m: of the lap; None where unknown.
        pace_m_s: speed at those places; None where unknown.
    """
    n = len(shape_g)
    seconds = np.full(n, lap_s / n)
    if pace_m_s is not None and length_m is not None:
        seconds = (length_m / n) / np.maximum(pace_m_s, 3.0)
    level = max(CORNER_G, CORNER_SHARE * float(np.percentile(np.abs(shape_g), 95)))
    found: list[tuple[int, int, int]] = []
    for side in (1, -1):
        edges = np.flatnonzero(
            np.diff(np.concatenate([[0], (side * shape_g > level).astype(np.int8), [0]]))
        )
        for first, stop in edges.reshape(-1, 2):
            found.append((int(first), int(stop), side))
    found.sort()
    merged: list[tuple[int, int, int]] = []
    for first, stop, side in found:
        before = merged[-1] if merged else None
        if before and before[2] == side and seconds[before[1] : first].sum() < _MERGED_S:
            merged[-1] = (before[0], stop, side)
        else:
            merged.append((first, stop, side))
    lasting = [each for each in merged if seconds[each[0] : each[1]].sum() >= LEAST_CORNER_S]
    return tuple(
        Corner(
            number,
            first / n,
            stop / n,
            "left" if side > 0 else "right",
            None if length_m is None else (stop - first) / n * length_m,
            None if pace_m_s is None else 3.6 * float(np.mean(pace_m_s[first:stop])),
            float(np.mean(np.abs(shape_g[first:stop]))),
        )
        for number, (first, stop, side) in enumerate(lasting, start=1)
    )


def line_after_straight(shape_g: FloatArray) -> tuple[float, float]:
    """Return the middle and the end of the longest straight of a lap, shares of it from 0 to 1."""
    level = max(CORNER_G, CORNER_SHARE * float(np.percentile(np.abs(shape_g), 95))) * 0.7
    turning = np.flatnonzero(np.abs(shape_g) > level)
    if not len(turning):
        return 0.0, 0.0
    steps = np.diff(np.append(turning, turning[0] + len(shape_g)))
    longest = int(np.argmax(steps))
    middle = (turning[longest] + 0.5 * steps[longest]) / len(shape_g)
    return float(middle % 1.0), float((turning[longest] + steps[longest]) / len(shape_g) % 1.0)


def warped(reference: FloatArray, shapes: FloatArray, reach: float) -> FloatArray:
    """Return, for each place of a reference, where along each lap the same place is.

    Windows of the reference are looked for in each lap; between their middles places lie in
    proportion, and both ends of the lap stay where they are.

    Args:
        reference: lateral acceleration at even places; shape (n,).
        shapes: of the laps; shape (laps, n).
        reach: share of the lap by which a place may lie off.

    Returns:
        Shares of each lap; shape (laps, n).
    """
    n = len(reference)
    grid = np.arange(n) / n
    half, most = n // 14, max(1, int(reach * n))
    centres = (np.arange(_ANCHORS) + 0.5) * n / _ANCHORS
    offsets = np.arange(-half, half + 1)
    shifts = np.arange(-most, most + 1)
    windows = reference[(np.round(centres).astype(int)[:, np.newaxis] + offsets) % n]
    told = (windows**2).mean(axis=1) > 0.15 * float((reference**2).mean())
    if not told.any():
        return np.broadcast_to(grid, shapes.shape).copy()
    centres, windows = np.round(centres[told]).astype(int), windows[told]
    places = centres[:, None, None] + shifts[None, :, None] + offsets[None, None, :]
    found = np.empty(shapes.shape)
    for begin in range(0, len(shapes), _AT_ONCE):
        there = shapes[begin : begin + _AT_ONCE][:, places % n]
        off = ((there - windows[None, :, None, :]) ** 2).mean(axis=3)
        off /= (windows**2).mean(axis=1)[None, :, None]
        best = shifts[np.argmin(off + 0.1 * (shifts / most) ** 2, axis=2)]
        at = np.maximum.accumulate(np.clip((centres + best) / n, 0.0, 1.0), axis=1)
        for k, each in enumerate(at):
            found[begin + k] = np.interp(
                grid,
                np.concatenate([[0.0], centres / n, [1.0]]),
                np.concatenate([[0.0], each, [1.0]]),
            )
    return found


def shift_between(shape_g: FloatArray, course_g: FloatArray) -> tuple[float, float]:
    """Return the share of a lap by which its line lies behind a course's, and how alike both are.

    Alike is the correlation at that shift, from -1 to 1.
    """
    product = np.fft.irfft(np.fft.rfft(shape_g) * np.conj(np.fft.rfft(course_g)), len(shape_g))
    size = np.linalg.norm(shape_g) * np.linalg.norm(course_g)
    at = int(np.argmax(product))
    return at / len(shape_g), float(product[at] / size) if size > 0.0 else 0.0


def reckoned_map(bend_per_m: FloatArray, length_m: float) -> CourseMap:
    """Return the line that bends make, closed over the lap, from a closed circuit.

    The heading is the sum of the bends; what it misses of whole turns, an offset of the sensor as a
    rule, is taken off evenly, and so is then the distance between both ends.

    Args:
        bend_per_m: curvature at even places, positive to the left; shape (n,).
        length_m: of the lap.
    """
    step = length_m / len(bend_per_m)
    turned = float(bend_per_m.sum()) * step
    missed = turned - 2.0 * np.pi * round(turned / (2.0 * np.pi))
    bend = bend_per_m - missed / length_m
    heading = np.concatenate([[0.0], np.cumsum(bend) * step])
    middle = 0.5 * (heading[1:] + heading[:-1])
    # The chord of an arc is shorter than it by sin(a)/a of half the angle it turns.
    chord = step * np.sinc(0.5 * bend * step / np.pi)
    x = np.concatenate([[0.0], np.cumsum(chord * np.cos(middle))])
    y = np.concatenate([[0.0], np.cumsum(chord * np.sin(middle))])
    return _closed("dead_reckoning", x, y)


def positioned_map(x_m: FloatArray, y_m: FloatArray) -> CourseMap:
    """Return the map of positions at even places from line to line, both ends included."""
    return _closed("position", x_m, y_m)


def _closed(by: str, x: FloatArray, y: FloatArray) -> CourseMap:
    share = np.linspace(0.0, 1.0, len(x))
    miss = x[-1] - x[0], y[-1] - y[0]
    x, y = x - miss[0] * share, y - miss[1] * share
    return CourseMap(
        "position" if by == "position" else "dead_reckoning",
        tuple(np.round(x[:-1], 2).tolist()),
        tuple(np.round(y[:-1], 2).tolist()),
        float(np.hypot(*miss)),
    )


def even(values: FloatArray) -> FloatArray:
    """Return a shape without what single places add to it."""
    return smoothed(np.concatenate([values[-4:], values, values[:4]]), 3)[4:-4]
