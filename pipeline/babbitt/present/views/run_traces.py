"""What a window of a run looks like: its channels, their limits, and the events in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from babbitt.detect.pressure import floor_line_kpa
from babbitt.model.channels import channels
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import NOT_COUNTED, Event
from babbitt.model.kinds import KINDS
from babbitt.model.run import ChannelArray, FloatArray
from babbitt.present.figures.panels import Area, Limit, Line, Panel, Role
from babbitt.present.figures.traces import Band
from babbitt.present.views.event_words import event_title
from babbitt.present.views.run import RunView
from babbitt.present.views.shelf import EXPECTED, OpenRun, RunShelf, Trace
from babbitt.present.views.thinning import thin
from babbitt.present.words import Reader, number

EITHER_SIDE_S = 2.0
"""A chosen event stands in the middle, with so much of the run before and after it."""

SHORTEST_S = 0.2
"""No window is shorter; five samples at 25 Hz."""

MOST_POINTS = 9000
"""All lines of a window together have about so many, at 12 bytes each before they are encoded."""

MOST_POINTS_A_LINE = 1600
MOST_DOTS = 120
MOST_AREA_POINTS = 160

_MARGIN = 0.25
"""So much of a window's length is drawn beyond either end, for the hand that pushes it along."""

_CLOSE_S = 30.0
"""The pressure that counts as starved is drawn in windows no longer; in others it is a blur."""

_GROUPS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("rpm",), 1.1),
    (("oil_pressure",), 1.5),
    (("lateral_g",), 0.8),
    (("boost",), 0.9),
    (("oil_temperature", "coolant_temperature"), 1.0),
)
"""Channels that are always drawn, in panels of one unit, with the height of each."""

_FROM_ZERO = ("rpm", "oil_pressure")
_SHORT_TITLE = {"oil_temperature": "oil", "coolant_temperature": "coolant"}
_ALWAYS = tuple(name for names, _ in _GROUPS for name in names)


@dataclass(frozen=True)
class Window:
    """A window of a run, ready to be drawn.

    Attributes:
        start_s: left end, seconds from the start of the run.
        end_s: right end.
        panels: from top to bottom; none where the run has no samples.
        bands: the events in it.
    """

    start_s: float
    end_s: float
    panels: tuple[Panel, ...]
    bands: tuple[Band, ...]


def more_channels(view: RunView) -> tuple[tuple[str, str], ...]:
    """Return name and title of the channels of a run that are drawn only when asked for."""
    return tuple(
        (channel.name, _title(channel.name))
        for channel in view.record.channels
        if channel.name not in _ALWAYS
    )


def bounds(
    duration_s: float, start_s: float | None = None, end_s: float | None = None
) -> tuple[float, float]:
    """Return a window within a run; None for an end, or a window turned round, means all of it."""
    if start_s is None or end_s is None or not start_s < end_s:
        return 0.0, max(duration_s, SHORTEST_S)
    short = max(0.0, SHORTEST_S - (end_s - start_s)) / 2.0
    start_s, end_s = start_s - short, end_s + short
    if end_s - start_s >= duration_s:
        return 0.0, max(duration_s, SHORTEST_S)
    back = max(0.0, end_s - duration_s) + min(0.0, start_s)
    return start_s - back, end_s - back


def around(event: Event, duration_s: float) -> tuple[float, float]:
    """Return the window that shows an event in its middle."""
    return bounds(duration_s, event.start_s - EITHER_SIDE_S, event.end_s + EITHER_SIDE_S)


def open_run(shelf: RunShelf, view: RunView, more: Iterable[str] = ()) -> OpenRun:
    """Take a run from the shelf, with what is always drawn and `more` channels.

    Raises:
        LogbookError: its file is missing or damaged.
    """
    record = view.record
    asked = (*_ALWAYS, *more)
    return shelf.take(record.engine_id, record.run_id, asked, spec=view.spec, surface=view.surface)


def read_at(run: OpenRun, moment_s: float) -> Mapping[str, float]:
    """Return what the channels read at the sample nearest to a moment, in canonical units.

    Args:
        run: it.
        moment_s: seconds from the start of the run.

    Returns:
        By channel; those without a usable sample there are out.
    """
    if not len(run.time_s):
        return {}
    after = min(int(np.searchsorted(run.time_s, moment_s)), len(run.time_s) - 1)
    before = max(after - 1, 0)
    nearer = abs(run.time_s[before] - moment_s) < abs(run.time_s[after] - moment_s)
    at = before if nearer else after
    read = {name: float(trace.values[at]) for name, trace in run.traces.items()}
    return {name: value for name, value in read.items() if not np.isnan(value)}


def window_of(
    run: OpenRun,
    view: RunView,
    reader: Reader,
    start_s: float,
    end_s: float,
    *,
    more: Sequence[str] = (),
    chosen: str | None = None,
) -> Window:
    """Return a window of a run, thinned so that it draws at once and no peak is lost.

    Args:
        run: taken from the shelf with the `more` channels.
        view: what was found in it.
        reader: who looks; values are in their units.
        start_s: left end, seconds from the start of the run.
        end_s: right end.
        more: channels beside those that are always drawn, by name.
        chosen: id of the event that is looked at.
    """
    beyond = _MARGIN * (end_s - start_s)
    seen = [
        event
        for event in view.events
        if event.end_s >= start_s - beyond and event.start_s <= end_s + beyond
    ]
    groups = [*_GROUPS, *(((name,), 0.8) for name in more if name not in _ALWAYS)]
    here = [
        ([n for n in names if n in run.traces], weight)
        for names, weight in groups
        if any(n in run.traces for n in names)
    ]
    pen = _Pen(
        run, reader, start_s - beyond, end_s + beyond, lines=sum(len(n) for n, _ in here) + 2
    )
    return Window(
        start_s,
        end_s,
        tuple(_panel(pen, names, weight, view, seen, chosen) for names, weight in here),
        tuple(
            Band(
                event.start_s,
                event.end_s,
                event_title(event),
                counts=event.review not in NOT_COUNTED,
                chosen=event.event_id == chosen,
            )
            for event in seen
        ),
    )


@dataclass(frozen=True, eq=False)
class _Pen:
    """Draws traces of a run in a window, in the reader's units."""

    run: OpenRun
    reader: Reader
    start_s: float
    end_s: float
    lines: int

    def line(self, trace: Trace, name: str, role: Role = "measured", *, share: float = 1.0) -> Line:
        points = min(MOST_POINTS // self.lines, MOST_POINTS_A_LINE)
        at = thin(self.run.time_s, trace.values, self.start_s, self.end_s, points=points)
        time_s, values = (
            self.run.time_s[at],
            self.shown(trace.values[at] * np.float32(share), trace.unit),
        )
        return Line(name, *_broken(time_s, values, trace.holes_s, self._narrow_s(points)), role)

    def dots(self, trace: Trace, name: str) -> Line | None:
        first, last = np.searchsorted(
            trace.flagged, np.searchsorted(self.run.time_s, (self.start_s, self.end_s))
        )
        if first == last:
            return None
        times = self.run.time_s[trace.flagged[first:last]]
        values = trace.flagged_values[first:last]
        at = thin(times, values, self.start_s, self.end_s, points=MOST_DOTS)
        return Line(name, times[at], self.shown(values[at], trace.unit))

    def area(self, event: Event, spec: EngineSpec) -> Area | None:
        """Return what oil pressure was short of in an event; None where too narrow to see."""
        time_s, traces = self.run.time_s, self.run.traces
        if event.end_s - event.start_s < (self.end_s - self.start_s) / 400.0:
            return None
        measured, expected = traces["oil_pressure"], traces[EXPECTED]
        at = thin(time_s, measured.values, event.start_s, event.end_s, points=MOST_AREA_POINTS)
        due = expected.values[at]
        if event.kind == "low_oil_pressure":
            due = np.fmax(due, floor_line_kpa(traces["rpm"].values[at], spec.oil_pressure))
        short = due > measured.values[at]
        short &= (time_s[at] >= event.start_s) & (time_s[at] <= event.end_s)
        at, due = at[short], due[short]
        return Area(time_s[at], self.shown(due, "kPa"), self.shown(measured.values[at], "kPa"))

    def shown(self, values: ChannelArray, unit: str) -> ChannelArray:
        known = self.reader.unit(unit)
        if known is None:
            return values
        factor, offset = known.from_canonical()
        return values * np.float32(factor) + np.float32(offset)

    def one(self, value: float, unit: str) -> float:
        return float(self.shown(np.array([value], dtype=np.float32), unit)[0])

    def _narrow_s(self, points: int) -> float:
        """Seconds that no eye tells from none in this window: two neighbouring points."""
        return (self.end_s - self.start_s) / points * 2.0


def _panel(
    pen: _Pen,
    names: Sequence[str],
    weight: float,
    view: RunView,
    seen: Sequence[Event],
    chosen: str | None,
) -> Panel:
    traces = {name: pen.run.traces[name] for name in names}
    unit = next(iter(traces.values())).unit
    shown = pen.reader.unit(unit)
    lines = [
        pen.line(
            trace,
            _SHORT_TITLE.get(name, "measured" if name == "oil_pressure" else _title(name)),
            "measured" if at == 0 else "beside",
        )
        for at, (name, trace) in enumerate(traces.items())
    ]
    drawn = list(traces.values())
    areas: list[Area] = []
    if "oil_pressure" in names and EXPECTED in pen.run.traces:
        expected = pen.run.traces[EXPECTED]
        drawn.append(expected)
        lines += _expected_lines(pen, expected, view, _chosen_kind(seen, chosen))
        found = [
            pen.area(event, view.spec)
            for event in seen
            if KINDS[event.kind].channel == "oil_pressure"
        ]
        areas = [area for area in found if area is not None and len(area.time_s) > 1]
    limits = _limits(names, view.spec, pen)
    dots = [pen.dots(trace, _title(name)) for name, trace in traces.items()]
    low, high = _ends(names, drawn, limits, pen, unit)
    return Panel(
        title=_panel_title(names),
        unit=shown.symbol if shown else unit,
        lines=tuple(lines),
        low=low,
        high=high,
        weight=weight,
        limits=limits,
        dots=tuple(line for line in dots if line is not None),
        areas=tuple(areas),
    )


def _chosen_kind(seen: Sequence[Event], chosen: str | None) -> str | None:
    return next((event.kind for event in seen if event.event_id == chosen), None)


def _expected_lines(
    pen: _Pen, expected: Trace, view: RunView, chosen_kind: str | None
) -> list[Line]:
    learned = view.surface is not None
    lines = [pen.line(expected, "expected" if learned else "floor line", "beside")]
    if (pen.end_s - pen.start_s) / (1.0 + 2.0 * _MARGIN) <= _CLOSE_S and learned:
        share = view.spec.oil_pressure.starved_fraction
        lines.append(pen.line(expected, f"{100 * share:.0f} % of expected", "limit", share=share))
    return lines


def _limits(names: Sequence[str], spec: EngineSpec, pen: _Pen) -> tuple[Limit, ...]:
    known = {
        "rpm": (
            (spec.over_rev.redline_rpm, "redline"),
            (spec.over_rev.mechanical_rpm, "mechanical limit"),
        ),
        "boost": ((spec.boost.limit_kpa, "limit"),),
        "oil_temperature": ((spec.oil_temperature.limit_c, "oil limit"),),
        "coolant_temperature": ((spec.coolant_temperature.limit_c, "coolant limit"),),
        "lateral_g": (
            (spec.cornering.lateral_g, "left-hander"),
            (-spec.cornering.lateral_g, "right-hander"),
        ),
    }
    found = []
    for name in names:
        for value, title in known.get(name, ()):
            shown = pen.one(value, pen.run.traces[name].unit)
            found.append(Limit(shown, f"{title} {number(shown)}"))
    return tuple(found)


def _ends(
    names: Sequence[str],
    drawn: Sequence[Trace],
    limits: Sequence[Limit],
    pen: _Pen,
    unit: str,
) -> tuple[float, float]:
    """Return the ends of a panel's axis: the same in every window of the run."""
    values = [pen.one(end, unit) for trace in drawn for end in (trace.low, trace.high)]
    values += [limit.value for limit in limits]
    if any(name in _FROM_ZERO for name in names):
        values.append(0.0)
    known = [value for value in values if not np.isnan(value)] or [0.0, 1.0]
    low, high = min(known), max(known)
    spare = 0.06 * (high - low) or 1.0
    return (low if low == 0.0 else low - spare), high + spare


def _broken(
    time_s: FloatArray, values: ChannelArray, holes_s: FloatArray, narrow_s: float
) -> tuple[FloatArray, ChannelArray]:
    """Break a line in the middle of each hole that is wide enough to be seen."""
    wide = holes_s[(holes_s[:, 1] - holes_s[:, 0]) > narrow_s]
    middles = wide.mean(axis=1)
    at = np.searchsorted(time_s, middles)
    inside = (at > 0) & (at < len(time_s))
    return (
        np.insert(time_s, at[inside], middles[inside]),
        np.insert(values, at[inside], np.float32(np.nan)),
    )


def _title(name: str) -> str:
    known = channels().get(name)
    return known.title if known else name


def _panel_title(names: Sequence[str]) -> str:
    title = "temperature" if len(names) > 1 else _title(names[0])
    return title[:1].upper() + title[1:]
