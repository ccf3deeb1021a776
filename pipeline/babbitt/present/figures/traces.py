"""Channels of a run over one time axis, with what happened in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from babbitt.present.figures.ink import Ink, plain_figure
from babbitt.present.figures.panels import Panel, Sheet, draw_panel, note, on_axis, plain_text

MOST_BANDS = 120
"""No more events are shaded at once, the longest ones; each has its tick all the same."""

TOP_PX, BOTTOM_PX, LEFT_PX, RIGHT_PX = 22, 26, 52, 12
_STRIP_PX = 16
_GAP_PX = 22


@dataclass(frozen=True)
class Band:
    """An event as it lies on the time axis.

    Attributes:
        start_s: from the start of the run.
        end_s: from the start of the run.
        title: what the pointer reads.
        counts: it does harm; otherwise it was reviewed as none.
        chosen: it is the one that is looked at.
    """

    start_s: float
    end_s: float
    title: str
    counts: bool = True
    chosen: bool = False


def traces_figure(
    panels: Sequence[Panel],
    bands: Sequence[Band],
    ink: Ink,
    *,
    start_s: float,
    end_s: float,
    height: int,
    hours: bool = False,
) -> go.Figure:
    """Draw the channels of a run one above the other.

    Args:
        panels: from top to bottom.
        bands: the events in the window.
        ink: colours.
        start_s: left end of the time axis, seconds from the start of the run.
        end_s: right end.
        height: px.
        hours: the run lasts longer than an hour, and its clock shows them.
    """
    plot_px = height - TOP_PX - BOTTOM_PX
    shares = _domains([panel.weight for panel in panels], plot_px)
    sheet = Sheet()
    _draw_bands(sheet, bands, ink, end_s - start_s, 1.0 - _STRIP_PX / 2.0 / plot_px)
    for at, (panel, domain) in enumerate(zip(panels, shares, strict=True), start=2):
        draw_panel(sheet, panel, domain, f"y{at}", ink, plot_px)
    behind = {"domain": [0, 1], "range": [0, 1], "visible": False, "fixedrange": True}
    figure = plain_figure(
        ink,
        height=height,
        margin={"l": LEFT_PX, "r": RIGHT_PX, "t": TOP_PX, "b": BOTTOM_PX, "pad": 0},
        hovermode="x",
        hoversubplots="axis",
        hoverdistance=30,
        dragmode="zoom",
        xaxis=_time_axis(start_s, end_s, ink, hours=hours),
        yaxis=behind,
        plot_bgcolor="rgba(0,0,0,0)",  # or panels would hide the bands behind them
        barmode="overlay",
        shapes=sheet.shapes,
        annotations=sheet.annotations,
        **sheet.axes,
    )
    figure.add_traces(sheet.data)
    return figure


def _time_axis(start_s: float, end_s: float, ink: Ink, *, hours: bool) -> dict[str, Any]:
    clock = "%-H:%M:%S" if hours else "%-M:%S"
    stops = [([None, 100], "%3f"), ([100, 1000], "%1f")]
    return {
        "type": "date",  # the only axis of Plotly that writes minutes and seconds
        "range": [on_axis(start_s), on_axis(end_s)],
        "anchor": "free",
        "position": 0,
        "tickformat": clock,
        "tickformatstops": [
            {"dtickrange": steps, "value": f"{clock}.{digits}"} for steps, digits in stops
        ],
        "hoverformat": f"{clock}.%2f",
        "nticks": 8,
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "cursor",
        "spikethickness": 1,
        "spikedash": "solid",
        "spikecolor": ink.secondary,
        "automargin": False,
    }


def _domains(weights: Sequence[float], plot_px: int) -> list[tuple[float, float]]:
    """Return the bottom and top of each panel, as shares of the plot's height."""
    room = plot_px - _STRIP_PX - _GAP_PX * len(weights)
    top = float(plot_px - _STRIP_PX - _GAP_PX)
    domains = []
    for weight in weights:
        bottom = top - room * weight / sum(weights)
        domains.append((max(bottom, 0.0) / plot_px, top / plot_px))
        top = bottom - _GAP_PX
    return domains


def _draw_bands(
    sheet: Sheet, bands: Sequence[Band], ink: Ink, window_s: float, ticks_at: float
) -> None:
    """Shade the events over the whole height, and put a tick over each."""
    longest = sorted(bands, key=lambda band: (band.chosen, band.end_s - band.start_s))[-MOST_BANDS:]
    if longest:
        sheet.data.append(_shades(longest, ink, window_s / 800.0))
    for counts, symbol in ((True, "line-ns-open"), (False, "circle-open")):
        drawn = [band for band in bands if band.counts == counts]
        if drawn:
            colour = ink.harm if counts else ink.secondary
            sheet.data.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "x": [on_axis(_middle_s(band)) for band in drawn],
                    "y": [ticks_at] * len(drawn),
                    "text": [plain_text(band.title) for band in drawn],
                    "hovertemplate": "%{text}<extra></extra>",
                    "marker": {
                        "symbol": symbol,
                        "color": colour,
                        "size": [14 if band.chosen else 9 for band in drawn],
                        "line": {"width": [4 if band.chosen else 2 for band in drawn]},
                    },
                }
            )
    for band in bands:
        if band.chosen:
            colour = ink.harm if band.counts else ink.secondary
            place = {"x": on_axis(_middle_s(band)), "y": 1, "yref": "paper", "yanchor": "bottom"}
            sheet.annotations.append(note(plain_text(band.title), colour, **place))


def _shades(bands: Sequence[Band], ink: Ink, thinnest_s: float) -> dict[str, Any]:
    """Return bands as bars: as shapes, one by one, they would take most of the time of a zoom."""
    colours = [
        ink.faded(ink.harm if band.counts else ink.secondary, 0.17 if band.chosen else 0.1)
        for band in bands
    ]
    return {
        "type": "bar",
        "x": [on_axis(_middle_s(band)) for band in bands],
        "y": [1.0] * len(bands),
        "width": [1e3 * max(band.end_s - band.start_s, thinnest_s) for band in bands],
        "marker": {"color": colours, "line": {"width": 0}},
        "hoverinfo": "skip",
    }


def _middle_s(band: Band) -> float:
    return (band.start_s + band.end_s) / 2.0
