"""The frame that all pages share: the head with its five entries, and the switches."""

from __future__ import annotations

from typing import Any

from dash import html

from babbitt.errors import BabbittError
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import came_by_password
from babbitt_dashboard.marks import link, refusal
from babbitt_dashboard.page import Page

HEAD = (
    ("Engines", "/"),
    ("Runs", "/runs"),
    ("Teardowns", "/teardowns"),
    ("Logs", "/logs"),
    ("Register", "/register"),
)


def framed(page: Page, desk: Desk, parts: dict[str, Any]) -> html.Div:
    """Return a page below the head; what it refuses stands there as one sentence."""
    try:
        content = page.layout(desk, **parts)
    except BabbittError as error:
        content = [html.H1(page.title), refusal(str(error))]
    return _frame(content, desk, here=page.name, wide=page.wide)


def not_found(desk: Desk) -> html.Div:
    """Return the page of an address that leads nowhere."""
    words = [
        html.H1("There is no such page"),
        html.P(["Go to the ", link("engines", "/"), ", or use the head above."]),
    ]
    return _frame(words, desk, here="", wide=False)


def _frame(content: Any, desk: Desk, *, here: str, wide: bool) -> html.Div:
    return html.Div(
        [
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(
                [
                    html.Nav(
                        [
                            html.Span(
                                link(name, path, className="here" if name == here else ""),
                                **({"aria-current": "page"} if name == here else {}),
                            )
                            for name, path in HEAD
                        ],
                        **{"aria-label": "Pages"},
                    ),
                    html.Div(_switches(desk), className="switches"),
                ],
                className="head wide" if wide else "head",
            ),
            html.Main(content, id="page", className="wide" if wide else "", tabIndex=-1),
        ]
    )


def _switches(desk: Desk) -> list[html.Button | html.Form]:
    """Return the switches of units and light, and the way out for whoever came by a password.

    head.js sets the cookies of the switches, and loads the page again.
    """
    system = desk.reader.system
    other = "imperial" if system == "metric" else "metric"
    return [
        html.Button(
            system,
            id="units-switch",
            title=f"Show {other} units",
            **{"data-next": other, "aria-label": f"Units: {system}. Show {other} units"},
        ),
        html.Button(
            "day or night",
            id="theme-switch",
            title="Turn the paper light or dark",
            **{"aria-label": "Turn the paper light or dark"},
        ),
        *(
            [html.Form(html.Button("log out"), method="post", action="/logout")]
            if came_by_password()
            else []
        ),
    ]
