"""How an engine was run, and how its oil pressure stands: heat map, expected surface, drift."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from babbitt.model.run import FloatArray
from babbitt.present.figures.ink import Ink, add_limit, plain_figure
from babbitt.present.figures.labels import apart
from babbitt.present.words import Reader, number

HEIGHT_PX = 340
_MARGINS_PX = 80
_LABEL_PX = 16
"""Least distance of labels at the ends of lines."""


def running_map(
    rpm_edges: FloatArray,
    boost_edges_kpa: FloatArray,
    seconds: FloatArray,
    *,
    limits: Mapping[str, float],
    reader: Reader,
    ink: Ink,
    height: int = HEIGHT_PX,
) -> go.Figure:
    """Draw the running time by engine speed and boost, with the minutes in each cell.

    Args:
        rpm_edges: 1/min, ascending; shape (n + 1,).
        boost_edges_kpa: kPa gauge, ascending; shape (m + 1,).
        seconds: time in each cell; shape (n, m).
        limits: redline, 1/min, under "rpm", and boost limit, kPa, under "boost".
        reader: whose units are used.
        ink: colours.
        height: px.
    """
    rows, columns = (np.flatnonzero(seconds.any(axis=axis)) for axis in (1, 0))
    speeds = slice(rows[0], rows[-1] + 1)
    boosts = slice(columns[0], columns[-1] + 1)
    minutes = seconds[speeds, boosts].T / 60.0
    boost, unit = _as_shown(boost_edges_kpa[boosts.start : boosts.stop + 1], "kPa", reader)
    rpm = rpm_edges[speeds.start : speeds.stop + 1]
    figure = plain_figure(ink, height=height)
    figure.add_heatmap(
        x=_closed(rpm),
        y=_closed(boost),
        z=np.where(minutes > 0.0, minutes, np.nan),
        text=[[_minutes(value) for value in row] for row in minutes.tolist()],
        texttemplate="%{text}",
        textfont={"size": 12},
        colorscale=[[0.0, ink.paper], [1.0, ink.secondary]],
        zmin=0.0,
        showscale=False,
        xgap=1,
        ygap=1,
        hovertemplate="%{z:.2f} min<extra></extra>",
    )
    ends = [_closed(edges)[[0, -1]].tolist() for edges in (rpm, boost)]
    figure.update_xaxes(
        title_text="Engine speed, rpm", showgrid=False, tickformat=",.0f", range=ends[0]
    )
    figure.update_yaxes(title_text=f"Boost, {unit}", showgrid=False, range=ends[1])
    if limits["rpm"] < ends[0][1]:
        add_limit(figure, ink, limits["rpm"], f"redline {number(limits['rpm'])}", across="x")
        # above the plot, where no other label is, and within the figure
        figure.layout.annotations[-1].update(xanchor="right", yanchor="bottom")
    at = _as_shown(np.array([limits["boost"]]), "kPa", reader)[0][0]
    if at < ends[1][1]:
        add_limit(figure, ink, at, f"boost limit {number(at)}")
    return figure


def pressure_map(
    seen: pd.DataFrame,
    expected: pd.DataFrame,
    floor: pd.DataFrame,
    *,
    reader: Reader,
    ink: Ink,
    height: int = HEIGHT_PX,
) -> go.Figure:
    """Draw steady oil pressure against engine speed over what is expected; stronger is hotter.

    Args:
        seen: rpm, oil_c and kpa of stretches of steady running.
        expected: oil_c, rpm and kpa along lines of one oil temperature.
        floor: rpm and kpa along the spec's floor line.
        reader: whose units are used.
        ink: colours.
        height: px.
    """
    figure = plain_figure(ink, height=height, margin={"l": 8, "r": 110, "t": 28, "b": 8})
    kpa, unit = _as_shown(seen["kpa"].to_numpy(), "kPa", reader)
    oil, degrees = _as_shown(seen["oil_c"].to_numpy(), "°C", reader)
    coldest, hottest = float(seen["oil_c"].min()), float(seen["oil_c"].max())
    span = max(hottest - coldest, 1.0)
    figure.add_scatter(
        x=seen["rpm"],
        y=kpa,
        mode="markers",
        marker={
            "size": 6,
            "color": seen["oil_c"],
            "colorscale": [[0.0, ink.rules], [1.0, ink.ink]],
            "cmin": coldest,
            "cmax": hottest,
        },
        customdata=oil,
        hovertemplate=f"%{{x:,.0f}} rpm, %{{y:.3g}} {unit} at %{{customdata:.0f}} {degrees}"
        "<extra></extra>",
    )
    ends: list[tuple[float, float, str]] = []
    for at_c in np.unique(expected["oil_c"]):
        line = expected[expected["oil_c"] == at_c]
        strength = 0.35 + 0.65 * float(np.clip((at_c - coldest) / span, 0.0, 1.0))
        along, _ = _as_shown(line["kpa"].to_numpy(), "kPa", reader)
        (shown,), _ = _as_shown(np.array([at_c]), "°C", reader)
        figure.add_scatter(
            x=line["rpm"],
            y=along,
            mode="lines",
            line={"color": ink.faded(ink.ink, strength), "width": 2},
            hoverinfo="skip",
        )
        ends.append((line["rpm"].iloc[-1], along[-1], f"{shown:.0f} {degrees} expected"))
    low, _ = _as_shown(floor["kpa"].to_numpy(), "kPa", reader)
    figure.add_scatter(
        x=floor["rpm"],
        y=low,
        mode="lines",
        line={"color": ink.secondary, "width": 1, "dash": "dash"},
        hoverinfo="skip",
    )
    ends.append((floor["rpm"].iloc[-1], low[-1], f"floor line {number(low[-1])}"))
    highest = max(float(kpa.max()), *(y for _, y, _ in ends))
    heights = apart(np.array([y for _, y, _ in ends]), _LABEL_PX / (height - _MARGINS_PX) * highest)
    furthest = max(x for x, _, _ in ends)
    for (_, _, words), y in zip(ends, heights, strict=True):
        _at_the_end(figure, ink, furthest, y, words)
    slowest, fastest = float(seen["rpm"].min()), float(seen["rpm"].max())
    figure.update_xaxes(
        title_text="Engine speed, rpm",
        tickformat=",.0f",
        showgrid=False,
        range=[slowest - 200.0, fastest + 100.0],
    )
    top = 1.06 * max(highest, float(heights.max()))
    figure.update_yaxes(title_text=f"Oil pressure, {unit}", range=[0.0, top])
    return figure


def drift_line(
    seen: pd.DataFrame,
    line: pd.DataFrame,
    *,
    look_from: float,
    words: str,
    ink: Ink,
    height: int = HEIGHT_PX,
) -> go.Figure:
    """Draw how oil pressure moved since the build was fresh, run by run, with its 90 % band.

    Args:
        seen: hours and change of each run; the change as a share.
        line: hours, change, low and high of the line through them.
        look_from: share of pressure lost from which the bearings want a look.
        words: that stand at the end of the line.
        ink: colours.
        height: px.
    """
    figure = plain_figure(ink, height=height, margin={"l": 8, "r": 110, "t": 28, "b": 8})
    figure.add_scatter(
        x=[*line["hours"], *line["hours"][::-1]],
        y=[*line["high"], *line["low"][::-1]],
        fill="toself",
        fillcolor=ink.faded(ink.ink, 0.12),
        line={"width": 0},
        mode="lines",
        hoverinfo="skip",
    )
    figure.add_scatter(
        x=line["hours"], y=line["change"], mode="lines", line={"color": ink.ink}, hoverinfo="skip"
    )
    figure.add_scatter(
        x=seen["hours"],
        y=seen["change"],
        mode="markers",
        marker={"size": 7, "color": ink.ink},
        hovertemplate="%{y:+.1%} after %{x:.2f} h<extra></extra>",
    )
    _at_the_end(figure, ink, line["hours"].iloc[-1], line["change"].iloc[-1], words)
    add_limit(figure, ink, -look_from, f"look from −{100 * look_from:.0f} %")
    furthest = max(
        look_from,
        *(float(each.abs().max()) for each in (seen["change"], line["low"], line["high"])),
    )
    figure.update_xaxes(
        title_text="Running hours since the refresh",
        range=[0.0, 1.02 * float(line["hours"].iloc[-1])],
    )
    figure.update_yaxes(
        title_text="Oil pressure against fresh",
        tickformat="+.0%",
        range=[-1.15 * furthest, 1.15 * furthest],
        zeroline=True,
        zerolinecolor=ink.secondary,
        zerolinewidth=1,
    )
    return figure


def _as_shown(values: FloatArray, unit: str, reader: Reader) -> tuple[FloatArray, str]:
    """Return canonical values and their unit as the reader is shown them."""
    shown = reader.unit(unit)
    if shown is None:
        return values, unit
    factor, offset = shown.from_canonical()
    return values * factor + offset, shown.symbol


def _closed(edges: FloatArray) -> FloatArray:
    """Return edges whose open first and last cells are as wide as their neighbours."""
    closed = edges.copy()
    if len(edges) > 2:
        width = float(np.median(np.diff(edges)))
        closed[0] = max(closed[0], closed[1] - width)
        closed[-1] = min(closed[-1], closed[-2] + width)
    return closed


def _minutes(value: float) -> str:
    return "" if value < 0.05 else f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def _at_the_end(figure: go.Figure, ink: Ink, x: float, y: float, words: str) -> None:
    figure.add_annotation(
        x=x,
        y=y,
        text=words,
        showarrow=False,
        xanchor="left",
        xshift=6,
        font={"size": 12, "color": ink.secondary},
    )
