"""A page: where it lies, what it shows, and what answers its controls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash

from babbitt_dashboard.desk import Desk


@dataclass(frozen=True)
class Page:
    """A page of the dashboard.

    Attributes:
        name: its entry in the head, or that of the page it belongs to.
        path: its address; `<name>` stands for a part that layout is given.
        title: of the browser's tab.
        layout: given the desk, the parts of the address and what stands behind its ?, as text;
            returns what lies below the head. A `BabbittError` becomes a sentence on the page.
        connect: adds its callbacks.
        wide: uses the whole width of the window.
    """

    name: str
    path: str
    title: str
    layout: Callable[..., Any]
    connect: Callable[[Dash, Desk], None]
    wide: bool = False


def no_callbacks(app: Dash, desk: Desk) -> None:
    """Connect nothing: for a page without controls."""
