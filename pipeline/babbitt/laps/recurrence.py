"""Laps by what comes again: bends over distance, else lateral acceleration over time.

The length of a lap is where the trace is most like itself (autocorrelation). A distinctive piece of
it is then looked for along the run, and each place where it comes again is one pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import correlate

from babbitt.laps.motion import GRAVITY_M_S2, Motion, filled, smoothed
from babbitt.laps.passes import lateral_known
from babbitt.model.run import FloatArray, IndexArray

STEP_M = 5.0
STEP_S = 0.1

LAP_M = (250.0, 30_000.0)
LAP_S = (12.0, 900.0)
"""Shortest and longest lap that is looked for (our own choice)."""

CORNERING_G = 0.25
"""A run that never pulls so much was on no circuit (our own choice)."""

_LEAST_ALIKE = 0.35
_LEAST_PASS = 0.55
_MOST_UNSTEADY = 0.05
"""Laps last about as long as one another; corners that are like others do not come so evenly."""

_HALVES_ALIKE = 0.85
_PIECES = 16
_SHARE_OF_LAP = {True: 0.5, False: 0.25}
"""Of a lap that the piece takes, by distance and by time, over which laps differ the more."""

_LEAST_WHOLE = 0.72
"""Likeness of neighbouring laps as wholes, below which they are none (our own choice)."""

_LEAST_PASSES = {True: 2, False: 3}
"""By distance, and by time, which tells less."""

_GENTLE = 0.6
"""Share of the usual pull below which the first or last pass is on the way out or in."""

_HASTY = 0.2
"""Share by which the first or last span may differ from the usual lap, by time."""

_TURNS_OFF = 0.22
"""Turns by which a lap's bends may miss a whole number of turns: an offset of the sensor."""


@dataclass(frozen=True)
class Trace:
    """What comes again, on an even grid.

    Attributes:
        step: between samples, m or s.
        by_distance: the grid is of metres travelled, not of seconds.
        rows: signals that are compared, each of unit spread; shape (signals, samples).
        bend_per_m: curvature, by distance only; shape (samples,).
        time_s: when each sample was; shape (samples,).
    """

    step: float
    by_distance: bool
    rows: FloatArray
    bend_per_m: FloatArray | None
    time_s: FloatArray


@dataclass(frozen=True)
class Recurrence:
    """Passes of one place.

    Attributes:
        passes_s: when, s, ascending.
        alike: how much the passes are alike, from 0 to 1.
        by_distance: found over distance.
    """

    passes_s: FloatArray
    alike: float
    by_distance: bool


def trace_of(motion: Motion) -> Trace | None:
    """Return what can come again of a motion; None where nothing can, or the car hardly turned."""
    lateral = lateral_known(motion)
    if motion.travelled_m is not None and motion.travelled_m[-1] > 2.0 * LAP_M[0]:
        pace = motion.pace_m_s
        bend = None if pace is None else bend_of(motion, lateral, pace)
        if (
            pace is None
            or bend is None
            or np.percentile(np.abs(bend * pace**2), 98) < CORNERING_G * GRAVITY_M_S2
        ):
            return None
        going = np.concatenate([[True], np.diff(motion.travelled_m) > 1e-6])
        travelled = motion.travelled_m[going]
        grid = np.arange(0.0, travelled[-1], STEP_M)
        on_grid = [smoothed(np.interp(grid, travelled, each[going]), 3) for each in (bend, pace)]
        rows = np.array(
            [_unit(np.clip(on_grid[0], -0.08, 0.08)), 0.3 * _unit(on_grid[1], mean=True)]
        )
        times = np.interp(grid, travelled, motion.time_s[going])
        return Trace(STEP_M, True, rows, on_grid[0], times)
    if lateral is None or np.percentile(np.abs(smoothed(lateral, 11)), 98) < CORNERING_G:
        return None
    # Standing takes no time here, or the lap with a stop would last as long as several.
    moving = ~motion.standing[1:]
    clock = np.concatenate([[0.0], np.cumsum(np.where(moving, np.diff(motion.time_s), 0.0))])
    going = np.concatenate([[True], moving])
    grid = np.arange(0.0, clock[-1], STEP_S)
    row = _unit(smoothed(np.interp(grid, clock[going], lateral[going]), 5))
    times = np.interp(grid, clock[going], motion.time_s[going])
    return Trace(STEP_S, False, row[np.newaxis], None, times)


def bend_of(motion: Motion, lateral: FloatArray | None, pace_m_s: FloatArray) -> FloatArray | None:
    """Return the curvature of the driven line, 1/m, positive to the left; None where unknown.

    Lateral acceleration over the square of speed; without it, by the heading of positions.
    """
    if lateral is not None:
        return np.asarray(smoothed(lateral, 5) * GRAVITY_M_S2 / np.maximum(pace_m_s, 6.0) ** 2)
    if motion.x_m is None or motion.y_m is None:
        return None
    x, y = (smoothed(filled(motion.time_s, each), 11) for each in (motion.x_m, motion.y_m))
    heading = np.unwrap(np.arctan2(np.gradient(y), np.gradient(x)))
    turning = np.gradient(smoothed(heading, 9), motion.time_s)
    bend = smoothed(turning, 9) / np.maximum(pace_m_s, 6.0)
    return np.asarray(np.where(pace_m_s > 4.0, np.clip(bend, -0.1, 0.1), 0.0))


def find_recurrence(trace: Trace) -> Recurrence | None:
    """Return the passes of one place, None where nothing comes again."""
    longest = min(int((LAP_M if trace.by_distance else LAP_S)[1] / trace.step), trace.rows.shape[1])
    shortest = int((LAP_M if trace.by_distance else LAP_S)[0] / trace.step)
    for lag in _periods(trace.rows, shortest, longest):
        at, alike = _track(trace, lag)
        if len(at) < _LEAST_PASSES[trace.by_distance]:
            continue
        every = _laps_in_one(trace, at)
        if every == 0:
            return None
        if every is None:
            continue
        if every > 1:
            # Like parts are not the same: a pass of one is no measure for a pass of another.
            at, alike = _track(trace, round(every * float(np.median(np.diff(at)))))
        if len(at) < _LEAST_PASSES[trace.by_distance]:
            continue
        times = np.interp(at, np.arange(len(trace.time_s)), trace.time_s)
        return Recurrence(times, alike, trace.by_distance)
    return None


def repeated_place(trace: Trace, second: float, lap_s: float) -> FloatArray | None:
    """Return when the place of one moment came by, s; None where it is like too little else.

    Args:
        trace: by time.
        second: the moment, at which a straight ends.
        lap_s: how long a usual lap takes.
    """
    lag = int(lap_s / trace.step)
    width = max(8, int(_SHARE_OF_LAP[trace.by_distance] * lag))
    centre = int(np.searchsorted(trace.time_s, second))
    start = int(np.clip(centre - width // 2, 0, trace.rows.shape[1] - width))
    piece = trace.rows[:, start : start + width]
    if (piece[0] ** 2).mean() < 0.2:
        return None
    at = _chain(_likeness(trace.rows, piece), start, lag, by_distance=trace.by_distance)
    at = _raced(trace.rows, at, width)
    return np.interp(at + (centre - start), np.arange(len(trace.time_s)), trace.time_s)


def _periods(rows: FloatArray, shortest: int, longest: int) -> list[int]:
    """Return lags at which the rows are like themselves, the shortest good one first."""
    n = rows.shape[1]
    longest = min(longest, int(0.8 * n))
    if longest <= shortest + 2:
        return []
    size = next_fast_len(2 * n)
    sums = irfft(np.abs(rfft(rows, size)) ** 2, size)[:, :n].sum(axis=0)
    energy = np.concatenate([[0.0], np.cumsum((rows**2).sum(axis=0))])
    lags = np.arange(n)
    both = energy[n - lags] * (energy[-1] - energy[lags])
    alike = np.divide(sums, np.sqrt(np.maximum(both, 1e-12)), out=np.zeros(n), where=both > 1e-9)
    inside = alike[shortest:longest]
    peak = np.flatnonzero((inside[1:-1] >= inside[:-2]) & (inside[1:-1] > inside[2:])) + 1
    peak = peak[inside[peak] >= _LEAST_ALIKE]
    if not len(peak):
        return []
    good = peak[inside[peak] >= 0.8 * inside[peak].max()] + shortest
    # Of peaks side by side the highest stands for all.
    chosen: list[int] = []
    for lag in good:
        if chosen and lag < 1.06 * chosen[-1]:
            if alike[lag] > alike[chosen[-1]]:
                chosen[-1] = int(lag)
        else:
            chosen.append(int(lag))
    return chosen[:4]


def _track(trace: Trace, lag: int) -> tuple[FloatArray, float]:
    """Return where one piece of the trace comes again, samples, and how alike these places are."""
    rows = trace.rows
    n = rows.shape[1]
    width = max(8, int(_SHARE_OF_LAP[trace.by_distance] * lag))
    middle = max(0, min(n - width, n // 2 - lag // 2))
    starts = np.unique(
        np.clip(middle + np.linspace(0, lag, _PIECES, endpoint=False).astype(int), 0, n - width)
    )
    best: tuple[float, FloatArray, float] | None = None
    for start in starts:
        piece = rows[:, start : start + width]
        if (piece[0] ** 2).mean() < 0.3:
            continue
        like = _likeness(rows, piece)
        at = _chain(like, int(start), lag, by_distance=trace.by_distance)
        if not trace.by_distance:
            at = _raced(rows, at, width)
        if len(at) < 2:
            continue
        alike = float(np.mean(like[np.round(at).astype(int)]))
        inside = like[max(0, start - lag // 2) : start + lag // 2 + 1].copy()
        own = min(start, lag // 2)
        inside[max(0, own - width // 2) : own + width // 2] = -1.0
        score = len(at) * (alike - 0.3 * max(float(inside.max(initial=0.0)), 0.0))
        if best is None or score > best[0]:
            best = score, at, alike
    return (np.zeros(0), 0.0) if best is None else (best[1], best[2])


def _likeness(rows: FloatArray, piece: FloatArray) -> FloatArray:
    """Return the cosine between a piece and each stretch of its length; shape (places,)."""
    width = piece.shape[1]
    product = sum(
        correlate(row, part, mode="valid", method="fft")
        for row, part in zip(rows, piece, strict=True)
    )
    energy = np.concatenate([[0.0], np.cumsum((rows**2).sum(axis=0))])
    there = np.maximum(energy[width:] - energy[:-width], 1e-9)
    return np.asarray(product / np.sqrt(there * (piece**2).sum()))


def _chain(like: FloatArray, start: int, lag: int, *, by_distance: bool) -> FloatArray:
    """Return the places of one chain of passes from `start` on both ways; broken chains go on."""
    low, high, spread = (0.94, 1.06, 0.03) if by_distance else (0.7, 1.5, 0.15)
    found = [float(start)]
    for way in (1, -1):
        at = float(start)
        while True:
            near, far = at + way * low * lag, at + way * high * lag
            first, stop = int(max(0, min(near, far))), int(min(len(like), max(near, far) + 1))
            if stop - first < 3:
                break
            window = like[first:stop]
            off = (np.abs(np.arange(first, stop) - at) / lag - 1.0) / spread
            place = first + int(np.argmax(window - 0.1 * off**2))
            if like[place] < _LEAST_PASS:
                place = _next_good(like, at + way * high * lag, way)
                if place < 0:
                    break
            at = _vertex(like, place)
            found.append(at)
    return np.sort(np.array(found))


def _raced(rows: FloatArray, at: FloatArray, width: int) -> FloatArray:
    """Return passes without those at both ends that were driven gently, whose time tells little."""
    energy = np.concatenate([[0.0], np.cumsum(rows[0] ** 2)])
    first = np.round(at).astype(int)
    pull = np.sqrt(energy[first + width] - energy[first])
    hard = np.flatnonzero(pull >= _GENTLE * np.median(pull))
    at = at[hard[0] : hard[-1] + 1]
    while len(at) > 3:
        spans = np.diff(at) / np.median(np.diff(at))
        if abs(spans[-1] - 1.0) > _HASTY:
            at = at[:-1]
        elif abs(spans[0] - 1.0) > _HASTY:
            at = at[1:]
        else:
            break
    return at


def _next_good(like: FloatArray, begin: float, way: int) -> int:
    """Return the next place that is as good as certain, -1 without one: a stop ends no run."""
    at = int(begin)
    if at < 0 or at >= len(like):
        return -1
    some = like[at:] if way > 0 else like[: at + 1][::-1]
    above = np.flatnonzero(some > _LEAST_PASS + 0.15)
    if not len(above):
        return -1
    first = int(above[0])
    most = first + int(np.argmax(some[first : first + 40]))
    return at + way * most


def _vertex(like: FloatArray, place: int) -> float:
    """Return the top of the parabola through a highest sample and its neighbours."""
    if place <= 0 or place >= len(like) - 1:
        return float(place)
    before, here, after = like[place - 1 : place + 2]
    bow = before - 2.0 * here + after
    return place if bow >= 0.0 else place + float(np.clip(0.5 * (before - after) / bow, -1.0, 1.0))


def _laps_in_one(trace: Trace, at: FloatArray) -> int | None:
    """Return how many of the found periods make one lap; None where they cannot be laps.

    0 where the road is the same every half of an oval, so that nothing tells laps.

    A lap brings the car back to its heading, so that its bends add up to whole turns; and where a
    circuit has several like parts, every second or third period is more alike than neighbours are.
    """
    spans = np.diff(at)
    whole = np.flatnonzero(spans < 1.4 * np.median(spans))
    places = (
        at[whole, np.newaxis]
        + np.linspace(0.0, 1.0, 240, endpoint=False) * spans[whole, np.newaxis]
    )
    grid = np.arange(trace.rows.shape[1])
    shapes = np.stack([np.interp(places, grid, row) for row in trace.rows], axis=1)
    likeness = _alike_by_distance_apart(shapes.reshape(len(whole), -1), whole)
    parts = 1
    for every in (2, 3):
        same, other = likeness.get(every), [likeness[k] for k in range(1, every) if k in likeness]
        if same is not None and other and max(other) < same - max(0.02, 0.4 * (1.0 - max(other))):
            parts = every
            break
        if _lasts_by_turns(spans, every):
            parts = every
            break
    if _alike_as_wholes(shapes[:, 0], parts) < _LEAST_WHOLE:
        return None
    if trace.bend_per_m is None and _unsteady(at[::parts]) > _MOST_UNSTEADY:
        return None
    if trace.bend_per_m is None:
        if _enough_corners(shapes, parts):
            return parts
        return 0 if likeness.get(1, 0.0) > max(_HALVES_ALIKE, likeness.get(2, 0.0) - 0.05) else None
    turned = np.concatenate([[0.0], np.cumsum(trace.bend_per_m) * trace.step])
    turns = np.median(np.diff(np.interp(at, np.arange(len(turned)), turned))[whole]) / (2.0 * np.pi)
    for every in (parts, 2 * parts, 3 * parts, 4 * parts):
        if abs(every * turns - round(every * turns)) < min(_TURNS_OFF, 0.08 + 0.06 * every):
            return every
    return parts


def _alike_by_distance_apart(shapes: FloatArray, number: IndexArray) -> dict[int, float]:
    """Return the mean likeness of periods that are 1, 2, 3 apart, where pairs are three."""
    unit = shapes / np.linalg.norm(shapes, axis=1, keepdims=True)
    found = {}
    for apart in (1, 2, 3):
        one, two = np.nonzero(np.equal(number - number[:, np.newaxis], apart))
        if len(one) >= 3:
            found[apart] = float(np.mean((unit[one] * unit[two]).sum(axis=1)))
    return found


def _alike_as_wholes(shapes: FloatArray, apart: int) -> float:
    """Return the usual likeness of periods that are so many apart; 1 without such a pair."""
    if len(shapes) <= apart:
        return 1.0
    unit = shapes / np.maximum(np.linalg.norm(shapes, axis=1, keepdims=True), 1e-9)
    return float(np.median((unit[apart:] * unit[:-apart]).sum(axis=1)))


def _unsteady(at: FloatArray) -> float:
    """Return by what share periods differ from their median, the worst of many left out."""
    spans = np.diff(at)
    if not len(spans):
        return 0.0
    off = np.sort(np.abs(spans / np.median(spans) - 1.0))
    return float(np.mean(off[: -max(1, len(off) // 8)] if len(off) >= 4 else off))


def _lasts_by_turns(spans: FloatArray, every: int) -> bool:
    """Tell whether each second, or third, period lasts as long as its like, and no other does."""
    kinds = [spans[k::every] for k in range(every)]
    if min(map(len, kinds)) < 3:
        return False
    middles = np.array([np.median(kind) for kind in kinds])
    spread = np.median(np.concatenate([np.abs(k - m) for k, m in zip(kinds, middles, strict=True)]))
    apart = np.diff(np.sort(middles)).max()
    least = 6.0 * 1.48 * spread * np.sqrt(2.0 / min(map(len, kinds)))
    return bool(apart > max(0.25 / STEP_S, least))


def _enough_corners(shapes: FloatArray, parts: int) -> bool:
    """Tell whether a period has corners enough, or of both sides, to be no half of an oval."""
    mean = shapes[:, 0].mean(axis=0)
    level = 0.4 * np.percentile(np.abs(mean), 95)
    count = sum(
        int(np.count_nonzero(np.diff((side * mean > level).astype(np.int8)) == 1))
        for side in (1, -1)
    )
    both = bool((mean > level).any() and (mean < -level).any())
    return parts > 1 or count >= 3 or (both and count >= 2)


def _unit(values: FloatArray, *, mean: bool = False) -> FloatArray:
    values = values - np.median(values) if mean else values
    spread = float(np.sqrt(np.mean(values**2)))
    return values / spread if spread > 0.0 else values
