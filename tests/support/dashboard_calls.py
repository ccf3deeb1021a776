"""Ask the dashboard's callbacks as a browser does."""

from __future__ import annotations

import json
from typing import Any

from dash import Dash
from plotly.utils import PlotlyJSONEncoder


def text_of(component: Any) -> str:
    """All that a component says, with plain spaces."""
    told = json.dumps(component, cls=PlotlyJSONEncoder, ensure_ascii=False)
    return told.replace("\N{NO-BREAK SPACE}", " ")


def call(app: Dash, path: str, search: str) -> Any:
    """Return what a browser is sent for a page."""
    client = app.server.test_client()
    callbacks = client.get("/_dash-dependencies").json
    (output,) = (c["output"] for c in callbacks if "_pages_content" in c["output"])
    asked = {
        "output": output,
        "outputs": [
            {"id": "_pages_content", "property": "children"},
            {"id": "_pages_store", "property": "data"},
        ],
        "inputs": [
            {"id": "_pages_location", "property": "pathname", "value": path},
            {"id": "_pages_location", "property": "search", "value": search},
        ],
        "changedPropIds": ["_pages_location.pathname"],
        "state": [],
    }
    answer = client.post("/_dash-update-component", json=asked)
    assert answer.status_code == 200, answer.text
    assert "A fault in Babbitt" not in answer.text, answer.text[:500]
    return answer.json
