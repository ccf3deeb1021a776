"""A report as one file of HTML: sentences, tables and figures, on light paper, ready to print.

Nothing in it is fetched from anywhere, and its own policy forbids it to; only the two scripts that
draw its figures may run, so that a note or header from a log never does.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib import resources
from typing import Any

import plotly.graph_objects as go
from jinja2 import Environment, StrictUndefined, select_autoescape
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from babbitt.present.views.text_table import TextTable
from babbitt.present.words import CAUTION, Reader, unbroken

WIDTH_PX = 780
"""Of a figure: what an A4 page with its margins has room for."""

HALF_PX = 380
"""Of a figure beside another section."""

_CLEAR = "rgba(0,0,0,0)"

_DRAW = """
document.querySelectorAll("figure.drawn").forEach(function (place) {
  const told = JSON.parse(place.querySelector("script").textContent);
  Plotly.newPlot(place.querySelector("div"), told.data, told.layout, {displayModeBar: false});
});
"""


@dataclass(frozen=True, eq=False)
class Figure:
    """A figure of a report.

    Attributes:
        drawn: of Plotly, in light ink.
        name: what it shows, in a sentence.
    """

    drawn: Any
    name: str


@dataclass(frozen=True, eq=False)
class Section:
    """A part of a report; what it holds comes in the order of its attributes.

    Attributes:
        title: its heading; "" for none.
        sentences: a paragraph each.
        points: heading -> sentences, a list each; an empty one is left out.
        figures: drawn below them.
        tables: below these.
        half: it takes half the width, beside another such section.
        new_page: on paper it begins a page.
    """

    title: str
    sentences: tuple[str, ...] = ()
    points: tuple[tuple[str, tuple[str, ...]], ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[TextTable, ...] = ()
    half: bool = False
    new_page: bool = False


def write_report(title: str, sections: Iterable[Section], *, at: datetime, reader: Reader) -> str:
    """Return a report as one file of HTML.

    Args:
        title: its heading.
        sections: in their order.
        at: UTC, the moment that it tells of.
        reader: whose time zone is used.
    """
    told = [_as_shown(section) for section in sections]
    drawn = any(section["figures"] for section in told)
    template = resources.files("babbitt.present.reports").joinpath("report.html.jinja")
    return (
        _environment()
        .from_string(template.read_text(encoding="utf-8"))
        .render(
            title=title,
            at=reader.instant(at),
            sections=told,
            scripts=[Markup(script) for script in _scripts()] if drawn else [],  # noqa: S704 our own
            policy=_policy() if drawn else "default-src 'none'; style-src 'unsafe-inline'",
            caution=CAUTION,
        )
    )


@cache
def _environment() -> Environment:
    environment = Environment(
        autoescape=select_autoescape(default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["unbroken"] = unbroken
    return environment


@cache
def _scripts() -> tuple[str, str]:
    """Return the drawing library, as installed, and what draws the figures with it."""
    return get_plotlyjs(), _DRAW


@cache
def _policy() -> str:
    hashes = (
        base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in _scripts()
    )
    named = " ".join(f"'sha256-{each}'" for each in hashes)
    return (
        f"default-src 'none'; script-src {named}; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )


def _as_shown(section: Section) -> dict[str, Any]:
    return {
        "title": section.title,
        "sentences": section.sentences,
        "points": [(head, said) for head, said in section.points if said],
        "figures": [(_json(figure, half=section.half), figure.name) for figure in section.figures],
        "tables": section.tables,
        "classes": " ".join(
            name
            for name, is_so in (("half", section.half), ("new-page", section.new_page))
            if is_so
        ),
    }


def _json(figure: Figure, *, half: bool) -> Markup:
    """Return a figure of the width that it has on paper, so written that no tag can end it."""
    drawn = go.Figure(figure.drawn)
    drawn.update_layout(
        width=HALF_PX if half else WIDTH_PX,
        dragmode=False,
        paper_bgcolor=_CLEAR,
        plot_bgcolor=_CLEAR,
    )
    return Markup(drawn.to_json().replace("<", "\\u003c"))  # noqa: S704 nothing in it is a tag
