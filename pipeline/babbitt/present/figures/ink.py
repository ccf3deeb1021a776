"""Paper and ink: the colours of pages and figures, and the look that all figures share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True)
class Ink:
    """Colours of a figure; one accent, for harm only, all else ink at three strengths.

    Attributes:
        paper: the ground.
        ink: lines and words that matter.
        secondary: lines and words beside them.
        rules: hairlines.
        harm: the accent.
    """

    paper: str
    ink: str
    secondary: str
    rules: str
    harm: str

    def faded(self, colour: str, strength: float) -> str:
        """Return a colour of #rrggbb at a strength of 0 to 1, as it lies on any ground."""
        red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
        return f"rgba({red},{green},{blue},{strength:g})"

    @property
    def scale(self) -> list[list[float | str]]:
        """A colour scale from paper to ink, for amounts that are no harm."""
        return [[0.0, self.paper], [1.0, self.ink]]


LIGHT = Ink("#FBFAF7", "#1C1B1A", "#6B675F", "#D9D5CC", "#A8412A")
DARK = Ink("#171614", "#ECE9E2", "#A19C92", "#35322D", "#E07A5F")


def plain_figure(ink: Ink, *, height: int, **layout: Any) -> go.Figure:
    """Return an empty figure in the look of the house: hairlines, no legend, no tool bar.

    Args:
        ink: its colours.
        height: px.
        layout: more of Plotly's layout, key by key before the look; axes get it beneath their own.
    """
    axis: dict[str, Any] = {
        "gridcolor": ink.rules,
        "linecolor": ink.rules,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": ink.rules,
        "title": {"font": {"size": 12, "color": ink.secondary}},
        "automargin": True,
    }
    whole: dict[str, Any] = {
        "height": height,
        "paper_bgcolor": ink.paper,
        "plot_bgcolor": ink.paper,
        "font": {"family": FONT, "size": 12, "color": ink.ink},
        "margin": {"l": 8, "r": 8, "t": 28, "b": 8},
        "showlegend": False,
        "hoverlabel": {
            "bgcolor": ink.paper,
            "bordercolor": ink.ink,
            "font": {"color": ink.ink},
        },
        "dragmode": "pan",
        "xaxis": {},
        "yaxis": {},
        **layout,
    }
    # In one go: updating a figure's layout afterwards takes ten times as long.
    for name in whole:
        if name.startswith(("xaxis", "yaxis")):
            given = whole[name]
            whole[name] = {**axis, **given, "title": {**axis["title"], **given.get("title", {})}}
    return go.Figure(layout=whole)


def add_limit(
    figure: go.Figure, ink: Ink, value: float, name: str, *, across: str = "y", **where: Any
) -> None:
    """Draw a limit: a dashed line with its name and value at the far edge.

    Args:
        figure: drawn into.
        ink: its colours.
        value: of the limit, in the unit of the axis.
        name: with the value and its unit.
        across: the axis that the limit is a value of, "y" or "x".
        where: row and col of a subplot.
    """
    line: dict[str, Any] = {"line": {"color": ink.secondary, "width": 1, "dash": "dash"}}
    label: dict[str, Any] = {
        "annotation_text": name,
        "annotation_font": {"size": 12, "color": ink.secondary},
    }
    if across == "y":
        figure.add_hline(value, **line, **label, annotation_position="top right", **where)
    else:
        figure.add_vline(value, **line, **label, annotation_position="top right", **where)
