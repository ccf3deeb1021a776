"""The time line of an engine since its refresh: runs, events, life doses, and what lies ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from babbitt.model.kinds import KINDS, Kind
from babbitt.present.figures.ink import Ink, add_limit, plain_figure
from babbitt.present.figures.labels import apart
from babbitt.present.words import Reader, duration, share

_MOST_LABELS = 12
_LANE_PX = 20
SHARES_PX = 260
_LABEL_PX = 16
"""Least distance of labels at the right edge."""


def time_line(
    runs: pd.DataFrame,
    events: pd.DataFrame,
    used: pd.DataFrame,
    fan: pd.DataFrame,
    *,
    reader: Reader,
    ink: Ink,
    shares_px: int = SHARES_PX,
) -> go.Figure:
    """Draw what an engine has been through since its refresh, and what its next runs may bring.

    The place of a run on the axis is its number, so that a winter takes no more room than a night.

    Args:
        runs: started_at of each run, in order.
        events: kind, place, at, duration_s, peak, peak_unit, used, counted.
        used: kind, place, used: how the share of each life dose grew.
        fan: kind, place, low, middle, high: of the next runs.
        reader: whose units and time zone are used.
        ink: colours.
        shares_px: height of the part with the life doses.
    """
    lanes = [kind for kind in KINDS if (events["kind"] == kind).any()]
    lanes_px = _LANE_PX * max(len(lanes), 1)
    height = lanes_px + shares_px + 60
    figure = plain_figure(ink, height=height, margin={"l": 8, "r": 205, "t": 28, "b": 8})
    split = shares_px / (lanes_px + shares_px)
    end = max(float(fan["place"].max()) if len(fan) else 0.0, float(len(runs)), 1.0)
    figure.update_xaxes(
        range=[0.0, end],
        showgrid=False,
        title_text="Runs since the refresh, by the day they were made",
        fixedrange=True,
        **_run_ticks(runs, reader),
    )
    figure.update_layout(
        yaxis={
            "domain": [0.0, split - 0.03],
            "range": [0.0, _top(used, fan)],
            "tickformat": ".0%",
            "title": {"text": "Share of the life dose used"},
            "fixedrange": True,
        },
        yaxis2={
            "domain": [split + 0.01, 1.0],
            "range": [len(lanes) - 0.5, -0.5],
            "tickvals": list(range(len(lanes))),
            "ticktext": [KINDS[kind].title for kind in lanes],
            "showgrid": False,
            "zeroline": False,
            "ticks": "",
            "automargin": True,
            "fixedrange": True,
        },
    )
    _add_events(figure, events, lanes, reader, ink)
    _add_shares(figure, used, fan, ink, gap=_LABEL_PX / shares_px)
    add_limit(figure, ink, 1.0, "life dose, 100 %")
    if len(fan):
        figure.add_vline(len(runs), line={"color": ink.ink, "width": 1})
        figure.add_annotation(
            x=len(runs), y=1.0, yref="paper", yanchor="bottom", text="now", showarrow=False
        )
    return figure


def _run_ticks(runs: pd.DataFrame, reader: Reader) -> dict[str, object]:
    """Return a tick where each run begins, and a label where it is the first of its day."""
    days = [reader.day(at) for at in runs["started_at"]]
    firsts = [n for n, day in enumerate(days) if n == 0 or day != days[n - 1]]
    kept = set(firsts[:: max(1, -(-len(firsts) // _MOST_LABELS))])
    words = [day if n in kept else "" for n, day in enumerate(days)]
    return {"tickvals": list(range(len(days))), "ticktext": words, "ticklen": 6, "tickangle": 0}


def _top(used: pd.DataFrame, fan: pd.DataFrame) -> float:
    highest = [float(frame.max()) for frame in (used["used"], fan["middle"]) if len(frame)]
    return max(1.1, 1.08 * max(highest, default=0.0))


def _add_events(
    figure: go.Figure, events: pd.DataFrame, lanes: Sequence[Kind], reader: Reader, ink: Ink
) -> None:
    lane = {kind: n for n, kind in enumerate(lanes)}
    for counted, marker in (
        (True, {"symbol": "line-ns", "line": {"width": 2, "color": ink.harm}}),
        (False, {"symbol": "circle-open", "size": 7, "color": ink.secondary}),
    ):
        of_these = events[events["counted"] == counted]
        if not len(of_these):
            continue
        sizes = 7.0 + 13.0 * np.sqrt(np.clip(of_these["used"].fillna(0.0), 0.0, 0.5) / 0.5)
        figure.add_scatter(
            x=of_these["place"],
            y=of_these["kind"].map(lane),
            yaxis="y2",
            mode="markers",
            marker={"size": sizes, **marker},
            text=[_event_in_words(row, reader) for row in of_these.to_dict("records")],
            hovertemplate="%{text}<extra></extra>",
        )


def _event_in_words(event: Mapping[Any, Any], reader: Reader) -> str:
    peak = " ".join(reader.value(event["peak"], event["peak_unit"]))
    kind: Kind = event["kind"]
    words = f"{KINDS[kind].title}, {peak}, {duration(event['duration_s'])}"
    words += f"<br>{reader.instant(event['at'])}"
    return words if event["counted"] else f"{words}<br>set aside by review"


def _add_shares(
    figure: go.Figure, used: pd.DataFrame, fan: pd.DataFrame, ink: Ink, *, gap: float
) -> None:
    """Draw the steps of each kind, its fan, and its name at the right edge."""
    kinds = [kind for kind in KINDS if kind in set(used["kind"]) | set(fan["kind"])]
    ends: list[float] = []
    words: list[str] = []
    strong = max(kinds, key=lambda kind: _last(used, kind, "used"), default=None)
    for kind in kinds:
        colour = ink.ink if kind == strong else ink.secondary
        line = {"color": colour, "width": 2 if kind == strong else 1}
        so_far = used[used["kind"] == kind]
        ahead = fan[fan["kind"] == kind]
        now = _last(used, kind, "used")
        figure.add_scatter(
            x=so_far["place"],
            y=so_far["used"],
            mode="lines",
            line={**line, "shape": "hv"},
            hoverinfo="skip",
        )
        label = f"{KINDS[kind].title} {share(now)}"
        if len(ahead):
            figure.add_scatter(
                x=[*ahead["place"], *ahead["place"][::-1]],
                y=[*ahead["high"], *ahead["low"][::-1]],
                fill="toself",
                fillcolor=ink.faded(colour, 0.12),
                line={"width": 0},
                mode="lines",
                hoverinfo="skip",
            )
            figure.add_scatter(
                x=ahead["place"],
                y=ahead["middle"],
                mode="lines",
                line={**line, "dash": "dot"},
                hoverinfo="skip",
            )
            then = float(ahead["middle"].iloc[-1])
            if share(then) != share(now):
                label += f" → {share(then)}"
            now = then
        ends.append(now)
        words.append(label)
    top = figure.layout.yaxis.range[1]
    places = apart(np.array(ends), gap * top)
    figure.update_layout(yaxis_range=[0.0, max([top, *(1.04 * places)])])
    for y, text, kind in zip(places, words, kinds, strict=True):
        figure.add_annotation(
            x=1.0,
            xref="paper",
            xanchor="left",
            xshift=6,
            y=y,
            text=text,
            showarrow=False,
            font={"size": 12, "color": ink.ink if kind == strong else ink.secondary},
        )


def _last(frame: pd.DataFrame, kind: str, column: str) -> float:
    values = frame.loc[frame["kind"] == kind, column]
    return float(values.iloc[-1]) if len(values) else 0.0
