"""Laps and corners of a run, by the best that its log has."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from babbitt.laps.motion import Motion
from babbitt.laps.passes import (
    by_beacon,
    by_distance,
    by_lap_number,
    by_lap_time,
    by_position,
    lateral_known,
)
from babbitt.laps.recurrence import bend_of, find_recurrence, repeated_place, trace_of
from babbitt.laps.shape import (
    corners_of,
    even,
    line_after_straight,
    positioned_map,
    reckoned_map,
    shift_between,
    warped,
)
from babbitt.model.layout import (
    POINTS,
    Corner,
    CornerPass,
    CourseMap,
    FoundBy,
    Lap,
    LapKind,
    Layout,
    Line,
)
from babbitt.model.run import FloatArray

HIGH_LIKENESS = 0.75
"""Passes that are more alike than this are certain (our own choice)."""

SAME_COURSE = 0.6
"""Correlation of two laps above which both are of one circuit, driven one way (our own choice)."""

_SAME_LENGTH = 0.08
_BEFORE_CORNER_S = 1.5
"""So long before its first corner a lap begins, where only lateral acceleration tells places."""

_REACH = 0.07
_STANDS_AT_END_S = 5.0


@dataclass(frozen=True)
class _Passes:
    times_s: FloatArray
    found_by: FoundBy
    alike: float = 1.0
    numbers: tuple[int, ...] | None = None
    line: Line | None = None


@dataclass(frozen=True)
class _Shape:
    """A usual lap at POINTS even places; None where unknown."""

    lateral_g: FloatArray | None
    pace_m_s: FloatArray | None
    bend_per_m: FloatArray | None
    length_m: float | None
    lap_s: float


def find_layout(motion: Motion, course: Layout | None = None) -> Layout | None:
    """Return the laps and corners of a run; None where it has none, or nothing tells.

    Args:
        motion: of the run.
        course: of an earlier run at the circuit: laps begin at its line, and corners have its
            numbers, where this run was on the same course.
    """
    if len(motion.time_s) < 100:
        return None
    passes = _told(motion, None if course is None else course.line) or _recurring(motion)
    if passes is None:
        return None
    passes = _without_holes(motion, passes)
    if passes.found_by in ("position", "bends", "lateral_g"):
        stopped = _stops(motion, passes.times_s)
        if len(stopped) == 0 or stopped.mean() > 0.5:
            return None
    if passes.found_by in ("bends", "lateral_g"):
        passes = _on_the_straight(motion, passes)
    return _layout(motion, passes, course)


def _told(motion: Motion, line: Line | None) -> _Passes | None:
    """Return the passes that the log tells itself, at least two."""
    numbered = by_lap_number(motion)
    if numbered is not None and len(numbered[0]) >= 2:
        return _Passes(numbered[0], "lap_number", numbers=numbered[1])
    ways: tuple[tuple[FoundBy, FloatArray | None], ...] = (
        ("beacon", by_beacon(motion)),
        ("lap_time", by_lap_time(motion)),
        ("distance", by_distance(motion)),
    )
    for found_by, times in ways:
        if times is not None and len(times) >= 2:
            return _Passes(times, found_by)
    found = (by_position(motion, line) if line is not None else None) or by_position(motion, None)
    if found is None:
        return None
    return _Passes(found[0], "position", line=found[1])


def _recurring(motion: Motion) -> _Passes | None:
    trace = trace_of(motion)
    found = None if trace is None else find_recurrence(trace)
    if found is None:
        return None
    return _Passes(found.passes_s, "bends" if found.by_distance else "lateral_g", found.alike)


def _without_holes(motion: Motion, passes: _Passes) -> _Passes:
    """Return passes with those put in that were missed, where the distance driven tells where."""
    travelled = motion.travelled_m
    if travelled is None or passes.numbers is not None or len(passes.times_s) < 3:
        return passes
    at = np.interp(passes.times_s, motion.time_s, travelled)
    spans = np.diff(at)
    usual = float(np.median(spans))
    if usual <= 0.0:
        return passes
    several = np.round(spans / usual).astype(int)
    whole = (several >= 2) & (np.abs(spans / usual - several) < 0.04 * several)
    more = [at[k] + spans[k] * np.arange(1, several[k]) / several[k] for k in np.flatnonzero(whole)]
    if not more:
        return passes
    going = np.concatenate([[True], np.diff(travelled) > 1e-6])
    times = np.interp(np.concatenate(more), travelled[going], motion.time_s[going])
    return replace(passes, times_s=np.sort(np.concatenate([passes.times_s, times])))


def _stops(motion: Motion, passes_s: FloatArray) -> FloatArray:
    """Tell for each span between passes whether the car stood in it; 0 or 1."""
    stood = np.concatenate([[0], np.cumsum(motion.standing)])
    at = np.searchsorted(motion.time_s, passes_s)
    return (np.diff(stood[at]) > 0).astype(np.float64)


def _on_the_straight(motion: Motion, passes: _Passes) -> _Passes:
    """Return the passes of the longest straight, in place of those of wherever it came again."""
    shape = _usual(motion, passes)
    told = shape.lateral_g if shape.lateral_g is not None else shape.bend_per_m
    travelled = motion.travelled_m
    if told is None:
        return passes
    middle, end = line_after_straight(told)
    if travelled is None:
        spans = np.diff(passes.times_s)
        usual = int(np.argmin(np.abs(spans - np.median(spans))))
        before_s = min(_BEFORE_CORNER_S, 0.8 * ((end - middle) % 1.0) * spans[usual])
        second = float(passes.times_s[usual] + end * spans[usual] - before_s)
        trace = trace_of(motion)
        again = None if trace is None else repeated_place(trace, second, float(np.median(spans)))
        if again is None or len(again) < len(passes.times_s) - 1:
            return passes
        return replace(passes, times_s=again)
    at = np.interp(passes.times_s, motion.time_s, travelled)
    spans = np.diff(at)
    moved = at[:-1] + middle * spans
    usual_m = float(np.median(spans))
    tried = [at[0] - (1.0 - middle) * usual_m, at[-1] + middle * usual_m]
    going = np.concatenate([[True], np.diff(travelled) > 1e-6])
    bounds = [*moved.tolist()]
    if tried[0] > 0.0 and _fits(motion, tried[0], bounds[0], told):
        bounds.insert(0, tried[0])
    if tried[1] < travelled[-1] and _fits(motion, bounds[-1], tried[1], told):
        bounds.append(tried[1])
    if len(bounds) < 2:
        return passes
    return replace(passes, times_s=np.interp(bounds, travelled[going], motion.time_s[going]))


def _fits(motion: Motion, from_m: float, to_m: float, told: FloatArray) -> bool:
    """Tell whether a stretch of road bends as a lap does, whichever place it begins at."""
    travelled, pace = motion.travelled_m, motion.pace_m_s
    bend = None if pace is None else bend_of(motion, lateral_known(motion), pace)
    if travelled is None or pace is None or bend is None:
        return False
    here = np.interp(np.linspace(from_m, to_m, POINTS, endpoint=False), travelled, bend * pace)
    return shift_between(here, told)[1] > SAME_COURSE


def _usual(motion: Motion, passes: _Passes) -> _Shape:
    """Return the middle of all laps without a stop, place by place."""
    lapping = _stops(motion, passes.times_s) == 0.0
    spans = np.diff(passes.times_s)
    good = np.flatnonzero(lapping & (spans < 1.3 * np.median(spans)))
    if not len(good):
        good = np.arange(len(spans))
    places = _times_of(motion, passes.times_s)[good]
    lateral, pace, travelled = lateral_known(motion), motion.pace_m_s, motion.travelled_m
    lateral_g = None
    if lateral is not None:
        shapes = _at(motion, lateral, places)
        if travelled is None:
            places = (
                places[:, :1]
                + warped(np.median(shapes, axis=0), shapes, _REACH) * spans[good, np.newaxis]
            )
            shapes = _at(motion, lateral, places)
        lateral_g = even(np.median(shapes, axis=0))
    bend = None if pace is None else bend_of(motion, lateral, pace)
    length = None
    if travelled is not None:
        length = float(
            np.median(np.diff(np.interp(passes.times_s, motion.time_s, travelled))[good])
        )
    return _Shape(
        lateral_g,
        None if pace is None else np.median(_at(motion, pace, places), axis=0),
        None if bend is None else np.median(_at(motion, bend, places), axis=0),
        length,
        float(np.median(spans[good])),
    )


def _times_of(motion: Motion, passes_s: FloatArray) -> FloatArray:
    """Return the instants at which each lap is at POINTS even places; shape (laps, POINTS)."""
    share = np.linspace(0.0, 1.0, POINTS, endpoint=False)
    travelled = motion.travelled_m
    if travelled is None:
        return passes_s[:-1, np.newaxis] + share * np.diff(passes_s)[:, np.newaxis]
    going = np.concatenate([[True], np.diff(travelled) > 1e-6])
    at = np.interp(passes_s, motion.time_s, travelled)
    places = at[:-1, np.newaxis] + share * np.diff(at)[:, np.newaxis]
    return np.asarray(np.interp(places, travelled[going], motion.time_s[going]))


def _at(motion: Motion, values: FloatArray, seconds: FloatArray) -> FloatArray:
    return np.asarray(np.interp(seconds, motion.time_s, values))


def _layout(motion: Motion, passes: _Passes, course: Layout | None) -> Layout:
    shape = _usual(motion, passes)
    known = course is not None and _same_course(shape, course)
    if known and course is not None and passes.line is None:
        passes = _moved_to(motion, passes, shape, course)
        shape = _usual(motion, passes)
    told = shape.lateral_g
    if told is None and shape.bend_per_m is not None and shape.pace_m_s is not None:
        told = even(shape.bend_per_m * shape.pace_m_s**2 / 9.80665)
    shape_g = np.zeros(0) if told is None else told
    if known and course is not None and len(shape_g):
        corners = _as_in(course, shape_g)
    elif len(shape_g):
        corners = corners_of(shape_g, shape.lap_s, shape.length_m, shape.pace_m_s)
    else:
        corners = ()
    laps = _laps(motion, passes)
    # half a lap may come again as well as a whole one does
    sure = passes.alike >= HIGH_LIKENESS and passes.found_by != "lateral_g"
    return Layout(
        passes.found_by,
        "high" if sure else "low",
        shape.length_m,
        laps,
        corners,
        _corner_passes(motion, passes, laps, corners, shape_g),
        _map(motion, passes, shape),
        passes.line,
        tuple(np.round(shape_g, 3).tolist()),
        known_course=known,
    )


def _same_course(shape: _Shape, course: Layout) -> bool:
    if shape.lateral_g is None or len(course.shape_g) != POINTS:
        return False
    here, there = shape.length_m, course.length_m
    if here and there and abs(here / there - 1.0) > _SAME_LENGTH:
        return False
    return shift_between(shape.lateral_g, np.array(course.shape_g))[1] > SAME_COURSE


def _moved_to(motion: Motion, passes: _Passes, shape: _Shape, course: Layout) -> _Passes:
    """Return the passes of a course's line in place of those of another line."""
    if shape.lateral_g is None:
        return passes
    shift, _ = shift_between(shape.lateral_g, np.array(course.shape_g))
    if min(shift, 1.0 - shift) < 0.01 or passes.found_by not in ("bends", "lateral_g"):
        return passes
    places = _times_of(motion, passes.times_s)
    moved = np.array([np.interp(shift, np.arange(POINTS) / POINTS, each) for each in places])
    if len(moved) < 2:
        return passes
    return replace(passes, times_s=moved)


def _as_in(course: Layout, shape_g: FloatArray) -> tuple[Corner, ...]:
    """Return the corners of a course where a lap of this run has them."""
    there = warped(np.array(course.shape_g), shape_g[np.newaxis], _REACH)[0]
    grid = np.arange(POINTS) / POINTS
    return tuple(
        replace(
            corner,
            start=float(np.interp(corner.start, grid, there)),
            end=float(np.interp(corner.end, grid, there)),
        )
        for corner in course.corners
    )


def _laps(motion: Motion, passes: _Passes) -> tuple[Lap, ...]:
    time, travelled = motion.time_s, motion.travelled_m
    moving = np.flatnonzero(~motion.standing)
    first, last = float(time[0]), float(time[-1])
    out_s = float(time[moving[0]]) if len(moving) else first
    in_s = float(time[moving[-1]]) if len(moving) else last
    times = passes.times_s
    numbers = passes.numbers or tuple(range(1, len(times) + 1))
    stops = _stops(motion, times)

    def lap(number: int, kind: LapKind, start_s: float, end_s: float) -> Lap:
        length = None
        if travelled is not None:
            length = float(np.interp(end_s, time, travelled) - np.interp(start_s, time, travelled))
        return Lap(number, kind, start_s, end_s, length)

    found: list[Lap] = []
    before = numbers[0] - 1
    if times[0] - first > 0.0:
        if out_s - first > _STANDS_AT_END_S and out_s < times[0]:
            found.append(lap(before, "standing", first, out_s))
            found.append(lap(before, "out", out_s, float(times[0])))
        else:
            found.append(lap(before, "out", first, float(times[0])))
    for k, (start_s, end_s) in enumerate(pairwise(times)):
        kind: LapKind = "pit" if stops[k] else "lap"
        found.append(lap(numbers[k], kind, float(start_s), float(end_s)))
    if last > times[-1]:
        if last - in_s > _STANDS_AT_END_S and in_s > times[-1]:
            found.append(lap(numbers[-1], "in", float(times[-1]), in_s))
            found.append(lap(numbers[-1], "standing", in_s, last))
        else:
            found.append(lap(numbers[-1], "in", float(times[-1]), last))
    return tuple(found)


def _corner_passes(
    motion: Motion,
    passes: _Passes,
    laps: tuple[Lap, ...],
    corners: tuple[Corner, ...],
    shape_g: FloatArray,
) -> tuple[CornerPass, ...]:
    if not corners:
        return ()
    grid = np.arange(POINTS) / POINTS
    edges = np.array([(corner.start, corner.end) for corner in corners])
    spans = np.diff(passes.times_s)
    places = _times_of(motion, passes.times_s)
    lateral = lateral_known(motion)
    if motion.travelled_m is None and lateral is not None:
        shares = warped(shape_g, _at(motion, lateral, places), _REACH)
        places = passes.times_s[:-1, np.newaxis] + shares * spans[:, np.newaxis]
    found: list[CornerPass] = []
    for lap in laps:
        if lap.kind in ("lap", "pit"):
            at = places[int(np.searchsorted(passes.times_s, lap.start_s + 1e-6)) - 1]
            seconds = np.interp(edges.ravel(), grid, at).reshape(-1, 2)
        elif lap.kind in ("out", "in") and motion.travelled_m is not None:
            seconds = _in_part(motion, motion.travelled_m, lap, edges, passes)
        else:
            continue
        for corner, (start_s, end_s) in zip(corners, seconds, strict=True):
            if end_s > start_s:
                found.append(CornerPass(lap.number, corner.number, float(start_s), float(end_s)))
    return tuple(sorted(found, key=lambda each: each.start_s))


def _in_part(
    motion: Motion, travelled: FloatArray, lap: Lap, edges: FloatArray, passes: _Passes
) -> FloatArray:
    """Return when corners were passed on the way out or in; equal instants where they were not."""
    going = np.concatenate([[True], np.diff(travelled) > 1e-6])
    at = np.interp(passes.times_s, motion.time_s, travelled)
    usual = float(np.median(np.diff(at)))
    places = at[0] - (1.0 - edges) * usual if lap.kind == "out" else at[-1] + edges * usual
    inside = (places >= travelled[0]) & (places <= travelled[-1])
    seconds = np.interp(places, travelled[going], motion.time_s[going])
    return np.where(inside.all(axis=1, keepdims=True), seconds, 0.0)


def _map(motion: Motion, passes: _Passes, shape: _Shape) -> CourseMap | None:
    if motion.x_m is not None and motion.y_m is not None:
        whole = np.flatnonzero(_stops(motion, passes.times_s) == 0.0)
        places = _times_of(motion, passes.times_s)[whole]
        if len(places):
            lines = []
            for each in (motion.x_m, motion.y_m):
                known = np.isfinite(each)
                here = np.interp(places, motion.time_s[known], each[known])
                ends = np.interp(passes.times_s[whole + 1], motion.time_s[known], each[known])
                lines.append(np.append(np.median(here, axis=0), np.median(ends)))
            return positioned_map(lines[0], lines[1])
    if shape.bend_per_m is not None and shape.length_m is not None:
        return reckoned_map(shape.bend_per_m, shape.length_m)
    return None
