"""The state of a view in its address, so that a link shows a colleague the same."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from dash import Dash, Input, Output, Patch, dcc

_YEARS = range(1970, 2200)


def path_to(*parts: str, **state: Any) -> str:
    """Return the address of a view: its path, and its state where that is not None or empty."""
    path = "/" + "/".join(quote(part, safe="") for part in parts)
    kept = {name: value for name, value in state.items() if value not in (None, "", [])}
    return f"{path}?{urlencode(kept)}" if kept else path


def state_store(page: str, state: Mapping[str, Any]) -> dcc.Store:
    """Return the store whose content the address mirrors; None leaves a name out of it."""
    return dcc.Store(id=f"{page}-state", data=dict(state))


def mirror_state(app: Dash, page: str) -> None:
    """Write what the page's `state_store` holds into the address, without leaving the page."""
    app.clientside_callback(
        "function (state) { return window.babbitt.showState(state); }",
        Output(f"{page}-state", "id"),
        Input(f"{page}-state", "data"),
        prevent_initial_call=True,
    )


def state_change(**names: Any) -> Patch:
    """Return a change of some names in a `state_store` that more than one callback writes.

    A callback that handed the whole state back would undo what another wrote while it was asked.
    """
    change = Patch()
    change.update(names)
    return change


def text_parts(parts: Mapping[str, Any]) -> dict[str, str]:
    """Return the parts of an address that a page is given: the last of a name that is repeated.

    `desk` is left out: every page is given another thing by that name.
    """
    return {
        name: str(value[-1] if isinstance(value, list) else value)
        for name, value in parts.items()
        if name != "desk"
    }


def day_from(text: str | None) -> date | None:
    """Read a day of the calendar from an address; what is none gives None."""
    try:
        day = date.fromisoformat(text or "")
    except ValueError:
        return None
    return day if day.year in _YEARS else None


def number_from(text: str | None, default: int, *, low: int, high: int) -> int:
    """Read a whole number from an address; what is none, or lies outside, gives the nearest."""
    try:
        return min(max(int(text or ""), low), high)
    except ValueError:
        return default


def seconds_from(text: str | None) -> float | None:
    """Read seconds from an address; None for what is none."""
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if math.isfinite(value) else None
