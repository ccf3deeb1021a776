"""What is known of the place of a run: its laps, the corners of the circuit, and a map."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from babbitt.model.run import FloatArray

LapKind = Literal["out", "lap", "in", "pit", "standing"]
FoundBy = Literal["lap_number", "beacon", "lap_time", "distance", "position", "bends", "lateral_g"]

POINTS = 400
"""Even places along a lap at which its shape is kept."""

_MOST_CORNERS = 2
LAG_S = 0.7
"""Oil pressure falls and rises after the car has turned by no more (our own choice)."""


@dataclass(frozen=True)
class Line:
    """A line across a circuit that a lap begins at.

    Attributes:
        latitude: degrees.
        longitude: degrees.
        heading_rad: of the cars that cross it, from east towards north.
    """

    latitude: float
    longitude: float
    heading_rad: float


@dataclass(frozen=True)
class Lap:
    """A stretch of a run between two passes of the line, or before the first or after the last.

    Attributes:
        number: along the run, from 0 for what comes before the first pass; as logged, where it is.
        kind: out, before the first pass; lap; in, after the last; pit, with a stop; standing, of
            a car that does not move before or after all of them.
        start_s: from the start of the run.
        end_s: likewise.
        length_m: driven; None where speed and position are unknown.
    """

    number: int
    kind: LapKind
    start_s: float
    end_s: float
    length_m: float | None


@dataclass(frozen=True)
class Corner:
    """A corner of a circuit.

    Attributes:
        number: along the lap, from 1.
        start: share of the lap at which it begins.
        end: and ends.
        direction: the way it turns.
        length_m: along the driven line; None where unknown.
        speed_km_h: usual mean; None where unknown.
        lateral_g: usual mean, without its sign.
    """

    number: int
    start: float
    end: float
    direction: Literal["left", "right"]
    length_m: float | None
    speed_km_h: float | None
    lateral_g: float


@dataclass(frozen=True)
class CornerPass:
    """One corner in one lap, from `start_s` to `end_s` of the run."""

    lap: int
    corner: int
    start_s: float
    end_s: float


@dataclass(frozen=True)
class CourseMap:
    """The driven line of a usual lap at POINTS even places.

    Attributes:
        by: position, as logged; or dead_reckoning, by speed and lateral acceleration.
        x_m: east where by position, else in no certain direction.
        y_m: at right angles to that.
        closing_m: distance between the line's two ends before it was closed.
    """

    by: Literal["position", "dead_reckoning"]
    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    closing_m: float


@dataclass(frozen=True)
class Layout:
    """Where a run was, moment by moment.

    Attributes:
        found_by: lap_number, beacon, lap_time or distance, as logged; position; bends of the road
            over distance; lateral_g over time.
        confidence: low where passes of a place are not much alike, or lateral acceleration alone
            tells them.
        length_m: of a usual lap; None where unknown.
        laps: in their order, without a hole.
        corners: along the lap.
        passes: of the corners, in their order.
        course_map: None where neither position nor speed with lateral acceleration is logged.
        line: where laps begin; None without position.
        shape_g: lateral acceleration of a usual lap at POINTS even places, g; empty: not logged.
        known_course: the corners are those of an earlier run at the circuit.
    """

    found_by: FoundBy
    confidence: Literal["high", "low"]
    length_m: float | None
    laps: tuple[Lap, ...]
    corners: tuple[Corner, ...]
    passes: tuple[CornerPass, ...]
    course_map: CourseMap | None
    line: Line | None
    shape_g: tuple[float, ...]
    known_course: bool = False

    @property
    def whole_laps(self) -> tuple[Lap, ...]:
        """Laps from line to line without a stop."""
        return tuple(lap for lap in self.laps if lap.kind == "lap")

    def lap_at(self, second: float) -> Lap | None:
        """The lap that a moment of the run lies in; None outside of all."""
        index = int(np.searchsorted(self._starts, second, side="right")) - 1
        return self.laps[index] if index >= 0 and second <= self.laps[index].end_s else None

    def corner_in(self, start_s: float, end_s: float) -> int | None:
        """The corner that most of a stretch lies in, the lag of oil pressure behind it included.

        A stretch that lasts over more than two corners is in none.
        """
        over = np.minimum(end_s, self._passes[:, 1] + LAG_S) - np.maximum(
            start_s, self._passes[:, 0]
        )
        if not len(over) or over.max() < 0.0 or np.count_nonzero(over > LAG_S) > _MOST_CORNERS:
            return None
        # A later corner whose beginning the stretch only touches is not where it came from.
        return self.passes[int(np.argmax(np.round(over, 3)))].corner

    def place_of(self, start_s: float, end_s: float) -> tuple[int | None, int | None]:
        """The numbers of the lap that a stretch begins in and of its corner; None for neither."""
        lap = self.lap_at(start_s)
        if lap is None or lap.kind == "standing":
            return None, None
        return lap.number, self.corner_in(start_s, end_s)

    def share_at(self, seconds: Sequence[float] | FloatArray) -> FloatArray:
        """The share of its lap at which each moment lies, 0 to 1; NaN outside of whole laps."""
        at = np.asarray(seconds, dtype=np.float64)
        found = np.full(len(at), np.nan)
        edges = {corner.number: (corner.start, corner.end) for corner in self.corners}
        for lap in self.whole_laps:
            inside = (at >= lap.start_s) & (at < lap.end_s)
            if not inside.any():
                continue
            knots = [(lap.start_s, 0.0), (lap.end_s, 1.0)]
            for each in self._passes_by_lap.get(lap.number, ()):
                knots += [
                    (each.start_s, edges[each.corner][0]),
                    (each.end_s, edges[each.corner][1]),
                ]
            times, shares = zip(*sorted(knots), strict=True)
            found[inside] = np.interp(at[inside], times, shares)
        return found

    def to_json(self) -> str:
        """JSON that `from_json` reads."""
        return json.dumps(asdict(self), separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Layout:
        """The layout that `to_json` wrote."""
        raw = json.loads(text)
        for name, kind in (("laps", Lap), ("corners", Corner), ("passes", CornerPass)):
            raw[name] = tuple(kind(**each) for each in raw[name])
        course_map = raw["course_map"]
        if course_map is not None:
            course_map |= {name: tuple(course_map[name]) for name in ("x_m", "y_m")}
            raw["course_map"] = CourseMap(**course_map)
        raw["line"] = None if raw["line"] is None else Line(**raw["line"])
        return cls(**{**raw, "shape_g": tuple(raw["shape_g"])})

    @cached_property
    def _starts(self) -> FloatArray:
        return np.array([lap.start_s for lap in self.laps])

    @cached_property
    def _passes(self) -> FloatArray:
        return np.array([(each.start_s, each.end_s) for each in self.passes]).reshape(-1, 2)

    @cached_property
    def _passes_by_lap(self) -> dict[int, list[CornerPass]]:
        found: dict[int, list[CornerPass]] = {}
        for each in self.passes:
            found.setdefault(each.lap, []).append(each)
        return found
