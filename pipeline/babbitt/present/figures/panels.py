"""Channels of one unit over time: a panel of the figure of a run's traces."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from babbitt.model.run import ChannelArray, FloatArray
from babbitt.present.figures.ink import Ink

_LABEL_PX = 14

_BEGIN_MS = 946_684_800_000.0
"""A run is drawn as if it began as the year 2000 did, for the sake of the axis's clock: Plotly
takes small numbers on an axis of instants for years."""

Role = Literal["measured", "beside", "limit"]


@dataclass(frozen=True, eq=False)
class Line:
    """One line of a panel.

    Attributes:
        name: written on it where a panel has several; in what the pointer reads too.
        time_s: from the start of the run; shape (points,).
        values: in the unit of the panel, NaN where the line is broken; shape (points,).
        role: measured, drawn beside it, or a limit that moves.
    """

    name: str
    time_s: FloatArray
    values: ChannelArray
    role: Role = "measured"


@dataclass(frozen=True)
class Limit:
    """A value that must not be passed, in the unit of the panel, and its name with that value."""

    value: float
    name: str


@dataclass(frozen=True, eq=False)
class Area:
    """What lies between two lines; shape (points,) each."""

    time_s: FloatArray
    upper: ChannelArray
    lower: ChannelArray


@dataclass(frozen=True, eq=False)
class Panel:
    """Channels of one unit.

    Attributes:
        title: what it shows.
        unit: of its axis.
        lines: the first on top.
        low: lower end of its axis.
        high: upper end of its axis.
        weight: its height against that of others.
        limits: drawn dashed.
        dots: samples that the quality flags doubt, as lines without a name; drawn as open dots.
        areas: what was missing, shaded in the accent.
    """

    title: str
    unit: str
    lines: tuple[Line, ...]
    low: float
    high: float
    weight: float = 1.0
    limits: tuple[Limit, ...] = ()
    dots: tuple[Line, ...] = ()
    areas: tuple[Area, ...] = ()


@dataclass
class Sheet:
    """What goes into the figure, gathered as plain dictionaries: shapes one by one are slow."""

    data: list[dict[str, Any]] = field(default_factory=list)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    annotations: list[dict[str, Any]] = field(default_factory=list)
    axes: dict[str, dict[str, Any]] = field(default_factory=dict)


def seconds_of(moment: str | float) -> float:
    """Return the seconds from the start of the run of a place on the time axis.

    Args:
        moment: as Plotly states the end of a range: an instant as text, or milliseconds.

    Raises:
        ValueError: it is neither.
    """
    if isinstance(moment, str):
        moment = float(np.datetime64(moment, "us").astype(np.int64)) / 1e3
    return (float(moment) - _BEGIN_MS) / 1e3


def on_axis(time_s: Any) -> Any:
    """Return where seconds from the start of the run lie on the time axis."""
    return time_s * 1e3 + _BEGIN_MS


def draw_panel(
    sheet: Sheet,
    panel: Panel,
    domain: tuple[float, float],
    axis: str,
    ink: Ink,
    plot_px: int,
) -> None:
    """Draw a panel.

    Args:
        sheet: drawn on.
        panel: what it shows.
        domain: bottom and top, as shares of the height of the plot.
        axis: Plotly's name of its axis, like "y2".
        ink: colours.
        plot_px: height of the plot.
    """
    sheet.axes[f"yaxis{axis[1:]}"] = {
        "domain": list(domain),
        "range": [panel.low, panel.high],
        "fixedrange": True,
        "nticks": 5,
        "automargin": False,
        "ticklen": 3,
        "separatethousands": True,
    }
    sheet.annotations.append(
        note(
            plain_text(f"{panel.title}, {panel.unit}" if panel.unit.strip("-") else panel.title),
            ink.ink,
            xref="paper",
            x=0,
            xanchor="left",
            y=domain[1],
            yref="paper",
            yanchor="bottom",
        )
    )
    _draw_areas(sheet, panel, axis, ink)
    for line in reversed(panel.lines):
        sheet.data.append(_line(line, panel, axis, ink))
    for dots in panel.dots:
        sheet.data.append(_dots(dots, panel, axis, ink))
    labels = []
    for limit in panel.limits:
        sheet.shapes.append(
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "yref": axis,
                "y0": limit.value,
                "y1": limit.value,
                "line": {"color": ink.secondary, "width": 1, "dash": "dash"},
            }
        )
        labels.append((limit.value, limit.name, ink.secondary))
    if len(panel.lines) > 1:
        colours = {"measured": ink.ink, "beside": ink.secondary, "limit": ink.secondary}
        for line in panel.lines:
            drawn = np.flatnonzero(~np.isnan(line.values))
            if len(drawn):
                last = float(line.values[drawn[-1]])
                labels.append((last, plain_text(line.name), colours[line.role]))
    _write_labels(sheet, labels, panel, axis, ink, plot_px * (domain[1] - domain[0]))


def _draw_areas(sheet: Sheet, panel: Panel, axis: str, ink: Ink) -> None:
    if not panel.areas:
        return
    gap = np.array([np.nan])
    sheet.data.append(
        {
            "type": "scatter",
            "mode": "lines",
            "x": on_axis(
                np.concatenate(
                    [part for a in panel.areas for part in (a.time_s, a.time_s[::-1], gap)]
                )
            ),
            "y": np.concatenate(
                [part for a in panel.areas for part in (a.upper, a.lower[::-1], gap)]
            ),
            "yaxis": axis,
            "fill": "toself",
            "fillcolor": ink.faded(ink.harm, 0.35),
            "line": {"width": 0},
            "hoverinfo": "skip",
        }
    )


def _line(line: Line, panel: Panel, axis: str, ink: Ink) -> dict[str, Any]:
    drawn = {
        "measured": {"color": ink.ink, "width": 1.4},
        "beside": {"color": ink.secondary, "width": 1.2},
        "limit": {"color": ink.secondary, "width": 1, "dash": "dash"},
    }[line.role]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": on_axis(line.time_s),
        "y": line.values,
        "yaxis": axis,
        "name": line.name,
        "line": drawn,
        "connectgaps": False,
        "hovertemplate": _read(line.name, "y", panel),
    }


def _dots(dots: Line, panel: Panel, axis: str, ink: Ink) -> dict[str, Any]:
    """Draw doubted samples; those beyond the axis as triangles at its end, so that none is lost."""
    values = np.clip(dots.values, panel.low, panel.high)
    symbols = np.where(dots.values > panel.high, "triangle-up-open", "circle-open")
    symbols = np.where(dots.values < panel.low, "triangle-down-open", symbols)
    return {
        "type": "scatter",
        "mode": "markers",
        "x": on_axis(dots.time_s),
        "y": values,
        "yaxis": axis,
        "customdata": dots.values,
        "marker": {
            "symbol": symbols.tolist(),
            "size": 7,
            "color": ink.ink,
            "line": {"width": 1.2},
        },
        "cliponaxis": False,
        "hovertemplate": _read(f"{dots.name}, doubted:", "customdata", panel),
    }


def _write_labels(
    sheet: Sheet,
    labels: Sequence[tuple[float, str, str]],
    panel: Panel,
    axis: str,
    ink: Ink,
    panel_px: float,
) -> None:
    """Write names at the right edge: above their lines, or below where another is too near."""
    scale = panel_px / (panel.high - panel.low)
    ordered = sorted(labels)
    lines_px = [(value - panel.low) * scale for value, *_ in ordered]
    taken_px = -math.inf
    for at, (value, name, colour) in enumerate(ordered):
        line_px, above_px = (*lines_px[at : at + 2], math.inf)[:2]
        wanted_px = line_px if above_px - line_px >= _LABEL_PX else line_px - _LABEL_PX
        bottom_px = max(wanted_px, taken_px)
        taken_px = bottom_px + _LABEL_PX
        sheet.annotations.append(
            note(
                name,
                colour,
                xref="paper",
                x=1,
                xanchor="right",
                y=value,
                yref=axis,
                yanchor="bottom",
                yshift=bottom_px - line_px,
                bgcolor=ink.faded(ink.paper, 0.75),
            )
        )


def _read(name: str, value: str, panel: Panel) -> str:
    unit = plain_text(panel.unit.strip("-"))
    return f"{plain_text(name)} %{{{value}:,.4~r}} {unit}<extra></extra>"


def plain_text(text: str) -> str:
    """Return a name from a log so that Plotly writes it as it is: no mark-up, no placeholder."""
    return html.escape(text, quote=False).replace("%{", "% {")


def note(text: str, colour: str, **place: Any) -> dict[str, Any]:
    """Return words on the figure, without an arrow; `place` is where, in Plotly's keys."""
    return {
        "text": text,
        "showarrow": False,
        "font": {"size": 12, "color": colour},
        "borderpad": 0,
        **place,
    }
