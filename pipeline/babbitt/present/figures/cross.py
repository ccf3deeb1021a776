"""One channel of a run against another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from babbitt.model.run import ChannelArray
from babbitt.present.figures.ink import Ink, add_limit, plain_figure


@dataclass(frozen=True, eq=False)
class Cloud:
    """Samples as points; shape (points,) each."""

    x: ChannelArray
    y: ChannelArray


@dataclass(frozen=True, eq=False)
class Curve:
    """A line that the points are to be compared with; shape (points,) each."""

    name: str
    x: ChannelArray
    y: ChannelArray
    dashed: bool


@dataclass(frozen=True)
class Mark:
    """A limit of one axis, "x" or "y", and its name with its value."""

    value: float
    name: str
    across: str


def cross_figure(
    quiet: Cloud,
    harmful: Cloud,
    curves: Sequence[Curve],
    marks: Sequence[Mark],
    ink: Ink,
    *,
    x_title: str,
    y_title: str,
    height: int,
) -> go.Figure:
    """Draw one channel against another; samples of harmful events stand out by form and colour.

    Args:
        quiet: samples outside of events.
        harmful: samples within events.
        curves: what is expected, labelled at their right end.
        marks: limits.
        ink: colours.
        x_title: of the axis below, with its unit.
        y_title: of the axis on the left, with its unit.
        height: px.
    """
    figure = plain_figure(
        ink,
        height=height,
        margin={"l": 56, "r": 96, "t": 28, "b": 44},
        hovermode="closest",
        dragmode=False,
        xaxis={"title": {"text": x_title}, "separatethousands": True},
        yaxis={"title": {"text": y_title}, "separatethousands": True},
    )
    figure.add_traces(
        [
            _points(quiet, "circle", ink.faded(ink.ink, 0.35), 3),
            _points(harmful, "x-thin-open", ink.harm, 6),
            *(_curve(curve, ink) for curve in curves),
        ]
    )
    for mark in marks:
        add_limit(figure, ink, mark.value, mark.name, across=mark.across)
    for curve in curves:
        drawn = np.flatnonzero(~np.isnan(curve.y))
        if len(drawn):
            figure.add_annotation(
                x=float(curve.x[drawn[-1]]),
                y=float(curve.y[drawn[-1]]),
                text=curve.name,
                showarrow=False,
                xanchor="left",
                xshift=4,
                font={"size": 12, "color": ink.secondary},
            )
    return figure


def _points(cloud: Cloud, symbol: str, colour: str, size: int) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": cloud.x,
        "y": cloud.y,
        "marker": {"symbol": symbol, "size": size, "color": colour, "line": {"width": 1}},
        "hovertemplate": "%{x:,.4~r}, %{y:,.4~r}<extra></extra>",
    }


def _curve(curve: Curve, ink: Ink) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": curve.x,
        "y": curve.y,
        "line": {
            "color": ink.secondary,
            "width": 1.4,
            "dash": "dash" if curve.dashed else "solid",
        },
        "hoverinfo": "skip",
    }
