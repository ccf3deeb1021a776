"""A lap as one line on paper, and the laps of a run as a strip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from babbitt.model.layout import Corner, CourseMap, Lap
from babbitt.model.run import FloatArray
from babbitt.present.figures.ink import Ink, plain_figure

_THICKEST = 16.0
_LEAST_SHOWN_KPA = 15.0
"""Less missing pressure than this is what any two laps differ by (our own choice)."""


@dataclass(frozen=True)
class PlacedHarm:
    """An event on a lap: its lap's number, the shares of the lap it lies at, and what it was."""

    lap: int
    start: float
    end: float
    says: str
    chosen: bool


def course_figure(
    course: CourseMap,
    corners: Sequence[Corner],
    labels: Mapping[int, str],
    missing_kpa: FloatArray | None,
    harm: Sequence[PlacedHarm],
    ink: Ink,
    *,
    height: int,
) -> go.Figure:
    """Draw the lap as one line; harm in the accent, the thicker the more pressure is missing.

    Args:
        course: the line.
        corners: of the circuit.
        labels: what is written at each corner.
        missing_kpa: mean missing oil pressure at the places of the line; None: not known.
        harm: events, drawn as rings where they began.
        ink: colours.
        height: px.
    """
    x, y = np.array(course.x_m), np.array(course.y_m)
    n = len(x)
    figure = plain_figure(
        ink,
        height=height,
        dragmode=False,
        margin={"l": 24, "r": 24, "t": 24, "b": 24},
        xaxis={"visible": False},
        yaxis={"visible": False, "scaleanchor": "x"},
    )
    closed = np.append(np.arange(n), 0)
    figure.add_scatter(
        x=x[closed],
        y=y[closed],
        mode="lines",
        hoverinfo="skip",
        line={"color": ink.ink, "width": 2},
    )
    if missing_kpa is not None and missing_kpa.max() > _LEAST_SHOWN_KPA:
        worst = float(missing_kpa.max())
        for level in (0.2, 0.4, 0.6, 0.8):
            over = missing_kpa > max(level * worst, _LEAST_SHOWN_KPA)
            figure.add_scatter(
                x=np.where(over, x, np.nan),
                y=np.where(over, y, np.nan),
                mode="lines",
                hoverinfo="skip",
                line={"color": ink.harm, "width": 2 + level * _THICKEST},
            )
    centre = float(x.mean()), float(y.mean())
    for corner in corners:
        at = int(0.5 * (corner.start + corner.end) * n) % n
        away = np.array([x[at] - centre[0], y[at] - centre[1]])
        away = 22.0 * away / max(float(np.hypot(*away)), 1.0)
        figure.add_annotation(
            x=float(x[at]),
            y=float(y[at]),
            xshift=float(away[0]),
            yshift=float(away[1]),
            text=labels[corner.number],
            showarrow=False,
            font={"size": 14, "color": ink.ink},
        )
    begins = [int(each.start * n) % n for each in harm]
    figure.add_scatter(
        x=x[begins],
        y=y[begins],
        mode="markers",
        text=[each.says for each in harm],
        hovertemplate="%{text}<extra></extra>",
        marker={
            "symbol": ["circle" if each.chosen else "circle-open" for each in harm],
            "size": 11,
            "color": ink.harm,
            "line": {"width": 2, "color": ink.harm},
        },
    )
    figure.add_annotation(
        x=float(x[0]),
        y=float(y[0]),
        text="lap begins",
        showarrow=True,
        arrowhead=0,
        arrowcolor=ink.secondary,
        ax=28,
        ay=-24,
        font={"size": 12, "color": ink.secondary},
    )
    return figure


def strip_figure(
    laps: Sequence[Lap],
    corners: Sequence[Corner],
    labels: Mapping[int, str],
    harm: Sequence[PlacedHarm],
    ink: Ink,
) -> go.Figure:
    """Draw each whole lap as a line from left to right, with harm in the accent upon it.

    Args:
        laps: whole ones.
        corners: pale bands over all laps.
        labels: what is written above each corner.
        harm: events.
        ink: colours.
    """
    rows = {lap.number: row for row, lap in enumerate(laps)}
    figure = plain_figure(
        ink,
        height=100 + 26 * len(laps),
        dragmode=False,
        hovermode="closest",
        margin={"l": 56, "r": 16, "t": 32, "b": 40},
        xaxis={"title": {"text": "share of the lap, %"}, "range": [0, 100], "showgrid": False},
        yaxis={
            "range": [len(laps) - 0.5, -0.7],
            "tickvals": list(rows.values()),
            "ticktext": [f"lap {number}" for number in rows],
            "showgrid": False,
        },
    )
    for corner in corners:
        ends = 100.0 * corner.start, 100.0 * corner.end
        figure.add_vrect(*ends, fillcolor=ink.rules, opacity=0.45, line_width=0, layer="below")
        figure.add_annotation(
            x=0.5 * sum(ends),
            y=1.0,
            yref="paper",
            yshift=10,
            text=labels[corner.number],
            showarrow=False,
            font={"size": 12, "color": ink.secondary},
        )
    for row in rows.values():
        figure.add_scatter(
            x=[0, 100],
            y=[row, row],
            mode="lines",
            hoverinfo="skip",
            line={"color": ink.secondary, "width": 1},
        )
    for each in harm:
        if each.lap in rows:
            figure.add_scatter(
                x=[100.0 * each.start, max(100.0 * each.end, 100.0 * each.start + 0.6)],
                y=[rows[each.lap]] * 2,
                mode="lines",
                text=[each.says] * 2,
                hovertemplate="%{text}<extra></extra>",
                line={"color": ink.harm, "width": 12 if each.chosen else 7},
            )
    return figure
