"""One channel of a run against another, in the window that is looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from babbitt.detect.pressure import floor_line_kpa
from babbitt.model.channels import channels
from babbitt.model.event import NOT_COUNTED
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import BoolArray, ChannelArray, IndexArray
from babbitt.model.units import Unit
from babbitt.present.figures.cross import Cloud, Curve, Mark
from babbitt.present.views.run import RunView
from babbitt.present.views.shelf import OpenRun
from babbitt.present.words import Reader, number

CHOICES: dict[str, tuple[str, str]] = {
    "pressure-rpm": ("rpm", "oil_pressure"),
    "pressure-lateral": ("lateral_g", "oil_pressure"),
    "boost-rpm": ("rpm", "boost"),
}
"""Which channel is drawn across, and which up, by the name of the choice."""

_CELLS = (220, 130)
"""So finely can an eye tell points apart: one sample is drawn a cell, so that none stands out
without being drawn."""


@dataclass(frozen=True, eq=False)
class Cross:
    """Two channels against one another, in the reader's units.

    Attributes:
        quiet: samples outside of events, thinned.
        harmful: samples within events that concern the channel drawn up and count, thinned.
        curves: what is expected.
        marks: limits.
        x_title: of the axis below, with its unit.
        y_title: of the axis on the left, with its unit.
        says: what is compared, in a sentence.
    """

    quiet: Cloud
    harmful: Cloud
    curves: tuple[Curve, ...]
    marks: tuple[Mark, ...]
    x_title: str
    y_title: str
    says: str


def choice_title(choice: str) -> str:
    """Return the title of one of CHOICES."""
    across, up = (channels()[name].title for name in CHOICES[choice])
    return f"{up} against {across}"


def cross_of(
    run: OpenRun, view: RunView, reader: Reader, choice: str, start_s: float, end_s: float
) -> Cross | None:
    """Return one of CHOICES for a window of a run; None where a channel of it is missing.

    Args:
        run: with its usual channels.
        view: what was found in it.
        reader: who looks; values are in their units.
        choice: one of CHOICES.
        start_s: left end of the window, seconds from the start of the run.
        end_s: right end.
    """
    across, up = CHOICES[choice]
    if across not in run.traces or up not in run.traces:
        return None
    first, last = np.searchsorted(run.time_s, (start_s, end_s))
    part = slice(int(first), int(last))
    x, y = run.traces[across].values[part], run.traces[up].values[part]
    harm = _in_events(run, view, part, _kinds_of(up))
    known = ~(np.isnan(x) | np.isnan(y))
    pen = _Pen(reader)
    return Cross(
        quiet=_cloud(x, y, known & ~harm, pen, (across, up)),
        harmful=_cloud(x, y, known & harm, pen, (across, up)),
        curves=_curves(run, view, part, choice, pen),
        marks=_marks(view, choice, pen),
        x_title=pen.title(across),
        y_title=pen.title(up),
        says=_says(choice, up),
    )


def _says(choice: str, up: str) -> str:
    kinds = " or ".join(KINDS[kind].title for kind in _kinds_of(up))
    return f"{choice_title(choice).capitalize()}; a cross is a sample in {kinds}."


@dataclass(frozen=True)
class _Pen:
    reader: Reader

    def shown(self, name: str, values: ChannelArray) -> ChannelArray:
        factor, offset = self._unit(name).from_canonical()
        return values * np.float32(factor) + np.float32(offset)

    def one(self, name: str, value: float) -> float:
        return float(self.shown(name, np.array([value], dtype=np.float32))[0])

    def title(self, name: str) -> str:
        title = channels()[name].title
        return f"{title[:1].upper()}{title[1:]}, {self._unit(name).symbol}"

    def _unit(self, name: str) -> Unit:
        return channels()[name].shown[self.reader.system]


def _in_events(run: OpenRun, view: RunView, part: slice, kinds: tuple[Kind, ...]) -> BoolArray:
    harm = np.zeros(len(run.time_s[part]), dtype=np.bool_)
    for event in view.events:
        if event.kind in kinds and event.review not in NOT_COUNTED:
            begins, ends = np.searchsorted(run.time_s[part], (event.start_s, event.end_s))
            harm[begins:ends] = True
    return harm


def _cloud(
    x: ChannelArray, y: ChannelArray, which: BoolArray, pen: _Pen, names: tuple[str, str]
) -> Cloud:
    at = np.flatnonzero(which)
    at = at[_one_a_cell(x[at], y[at])]
    return Cloud(pen.shown(names[0], x[at]), pen.shown(names[1], y[at]))


def _one_a_cell(x: ChannelArray, y: ChannelArray) -> IndexArray:
    """Return the indices of the samples to draw: the last one of each cell."""
    if not len(x):
        return np.zeros(0, dtype=np.intp)
    columns, rows = _cells(x, _CELLS[0]), _cells(y, _CELLS[1])
    last = np.full(_CELLS[0] * _CELLS[1], -1, dtype=np.intp)
    last[columns * _CELLS[1] + rows] = np.arange(len(x))
    drawn: IndexArray = last[last >= 0]
    return drawn


def _cells(values: ChannelArray, count: int) -> IndexArray:
    low, high = values.min(), values.max()
    scale = np.float32((count - 1) / (high - low)) if high > low else np.float32(0.0)
    cells: IndexArray = ((values - low) * scale).astype(np.intp)
    return cells


def _curves(run: OpenRun, view: RunView, part: slice, choice: str, pen: _Pen) -> tuple[Curve, ...]:
    if choice != "pressure-rpm":
        return ()
    limits = view.spec.oil_pressure
    rpm = np.linspace(
        limits.floor_above_rpm, view.spec.over_rev.mechanical_rpm, 60, dtype=np.float32
    )
    shown = pen.shown("rpm", rpm)
    floor = Curve(
        "floor line", shown, pen.shown("oil_pressure", floor_line_kpa(rpm, limits)), dashed=True
    )
    oil_c = run.traces["oil_temperature"].values[part] if "oil_temperature" in run.traces else None
    if view.surface is None or oil_c is None or np.isnan(oil_c).all():
        return (floor,)
    usual_c = np.float32(np.nanmedian(oil_c))
    expected = view.surface.expected(rpm, np.full(len(rpm), usual_c))
    temperature = " ".join(pen.reader.value(float(usual_c), "°C"))
    name = f"expected<br>at {temperature}"
    return floor, Curve(name, shown, pen.shown("oil_pressure", expected), dashed=False)


def _marks(view: RunView, choice: str, pen: _Pen) -> tuple[Mark, ...]:
    spec = view.spec
    redline = pen.one("rpm", spec.over_rev.redline_rpm)
    match choice:
        case "pressure-rpm":
            return (Mark(redline, f"redline {number(redline)}", "x"),)
        case "boost-rpm":
            limit = pen.one("boost", spec.boost.limit_kpa)
            return (
                Mark(redline, f"redline {number(redline)}", "x"),
                Mark(limit, f"limit {number(limit)}", "y"),
            )
        case _:
            g = spec.cornering.lateral_g
            return Mark(-g, "right-hander", "x"), Mark(g, "left-hander", "x")


def _kinds_of(up: str) -> tuple[Kind, ...]:
    """Kinds of events whose samples are picked out, by the channel drawn up."""
    return tuple(kind for kind, about in KINDS.items() if about.channel == up)
