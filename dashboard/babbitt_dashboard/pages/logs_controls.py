"""Logs: the controls that logs.js hands on."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from dash import html


def does(do: str, to: str = "", value: Any = "") -> dict[str, str]:
    """Return the attributes of a button that does something; logs.js hands it on."""
    return {"data-logs": do, "data-to": to, "data-value": json.dumps(value)}


def fills(field: str, to: str, key: str = "") -> dict[str, str]:
    """Return the attributes around a control whose change is handed on."""
    return {"data-logs-field": field, "data-to": to, "data-key": key}


def select(
    options: Sequence[tuple[str, str]], value: str, *, label: str | None = None
) -> html.Select:
    """Return a choice; logs.js puts it back to `value` where another was refused."""
    named = {"aria-label": label} if label else {}
    return html.Select(
        [html.Option(words, value=key, selected=key == value) for key, words in options],
        **{"data-chosen": value},
        **named,
    )
