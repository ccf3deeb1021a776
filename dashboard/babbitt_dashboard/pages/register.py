"""Register: engines, builds, parts and where they are, and the journal with undo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dash import Dash, html

from babbitt_dashboard.address import path_to, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import connect_forms, said_place
from babbitt_dashboard.marks import link, print_button
from babbitt_dashboard.page import Page
from babbitt_dashboard.pages import register_engines, register_journal, register_parts

_PAGE = "register"
_SECTIONS: dict[str, tuple[str, Callable[[Desk, Mapping[str, Any]], list[Any]]]] = {
    "engines": ("Engines", register_engines.show),
    "builds": ("Builds", register_engines.show_builds),
    "parts": ("Parts", register_parts.show),
    "out": ("Out for work", register_parts.show_out),
    "journal": ("Journal", register_journal.show),
}


def layout(desk: Desk, section: str = "engines", **state: str) -> list[Any]:
    """Return a section of the register, and the way to the others.

    Args:
        desk: the logbook.
        section: one of engines, builds, parts, out, journal.
        state: which engine or part it shows.
    """
    here = section if section in _SECTIONS else "engines"
    kept = {"section": here, "engine": state.get("engine"), "part": state.get("part")}
    return [
        html.Div(
            [html.H1("Register"), print_button(path_to("report", "register.html"))],
            className="title-line",
        ),
        html.Nav(
            [
                html.Span(
                    link(title, path_to("register", section=name)),
                    className="here" if name == here else "",
                    **({"aria-current": "true"} if name == here else {}),
                )
                for name, (title, _) in _SECTIONS.items()
            ],
            className="sections",
            **{"aria-label": "Sections of the register"},
        ),
        state_store(_PAGE, kept),
        said_place(_PAGE),
        html.Div(show(desk, kept), id=f"{_PAGE}-part"),
    ]


def show(desk: Desk, state: Mapping[str, Any]) -> list[Any]:
    """Return the section that the state names."""
    return _SECTIONS[state["section"]][1](desk, state)


def connect(app: Dash, desk: Desk) -> None:
    """Answer the forms."""
    forms = (*register_engines.FORMS, *register_parts.FORMS, *register_journal.FORMS)
    connect_forms(app, desk, _PAGE, forms, show)


PAGE = Page(name="Register", path="/register", title="Register", layout=layout, connect=connect)
