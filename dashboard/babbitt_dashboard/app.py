"""The Dash application: its pages, their callbacks, and what every answer carries."""

from __future__ import annotations

import logging
import traceback
from functools import partial
from importlib import resources
from typing import Any

import dash
import dash_mantine_components as dmc
import flask
from dash import Dash, html, set_props
from dash.exceptions import DependencyException
from werkzeug.exceptions import HTTPException

from babbitt.errors import BabbittError
from babbitt_dashboard.address import text_parts
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.downloads import add_downloads
from babbitt_dashboard.page import Page
from babbitt_dashboard.pages import (
    engine,
    engines,
    logs,
    register,
    run,
    run_place,
    runs,
    teardown,
    teardowns,
)
from babbitt_dashboard.photos import add_photos
from babbitt_dashboard.shell import framed, not_found
from babbitt_dashboard.uploads import add_uploads

_TROUBLE = "trouble"
_CALLBACKS = "/_dash-update-component"
_LONGEST_LOGGED = 500
_log = logging.getLogger("babbitt")

PAGES: tuple[Page, ...] = (
    engines.PAGE,
    engine.PAGE,
    runs.PAGE,
    run.PAGE,
    run_place.PAGE,
    teardowns.PAGE,
    teardown.PAGE,
    logs.PAGE,
    register.PAGE,
)

_INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
<script src="{%assets%}/head.js"></script>
{%favicon%}{%css%}
</head>
<body>
<noscript>These pages need JavaScript, which this browser has switched off.</noscript>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>
"""


def make_app(desk: Desk) -> Dash:
    """Return the application for a logbook; every asset comes from this machine.

    Args:
        desk: the logbook, the clock and who changes things.
    """
    with resources.as_file(resources.files("babbitt_dashboard")) as folder:
        app = Dash(
            "babbitt",
            title="Babbitt",
            assets_folder=str(folder / "assets"),
            assets_ignore=r"head\.js",
            serve_locally=True,
            use_pages=True,
            pages_folder="",
            suppress_callback_exceptions=True,
            update_title="",
            on_error=_tell,
        )
    app.index_string = _INDEX.replace("{%assets%}", app.get_relative_path("/assets"))
    dash.page_registry.clear()
    for order, page in enumerate(PAGES):
        template = "<" in page.path
        dash.register_page(
            page.path,
            path=None if template else page.path,
            path_template=page.path if template else None,
            name=page.name,
            title=f"{page.title} – Babbitt",
            order=order,
            layout=partial(_layout, page, desk),
        )
        page.connect(app, desk)
    dash.register_page(
        "not_found_404", path="/404", title="Babbitt", layout=lambda **_: not_found(desk)
    )
    app.server.register_error_handler(Exception, _answer_fault)
    add_photos(app, desk)
    add_downloads(app, desk)
    add_uploads(app, desk)
    trouble = html.P(id=_TROUBLE, role="alert", className="refusal", hidden=True)
    app.layout = dmc.MantineProvider([trouble, html.Div(dash.page_container, id="paper")])
    return app


def _tell(error: Exception) -> None:
    """Say on the page what a callback did not see to itself; a fault of ours goes to the log."""
    if isinstance(error, BabbittError):
        said = str(error)
    else:
        _log_fault(error)
        said = "A fault in Babbitt stopped this, and nothing was changed: load the page again."
    set_props(_TROUBLE, {"children": said, "hidden": False})


def _layout(page: Page, desk: Desk, /, **parts: Any) -> html.Div:
    return framed(page, desk, text_parts(parts))


def _answer_fault(error: Exception) -> tuple[str, int] | HTTPException:
    """Answer a request that failed outside the callbacks: what no page of ours sends is refused."""
    if isinstance(error, HTTPException):
        return error
    if isinstance(error, BabbittError):
        return str(error), 503
    if isinstance(error, DependencyException):
        return "There is no such file.", 404
    _log_fault(error)
    if flask.request.path == _CALLBACKS:
        return "No page of this program asks like that: load the page again.", 400
    return "A fault in Babbitt stopped this, and nothing was changed.", 500


def _log_fault(error: Exception) -> None:
    place = traceback.extract_tb(error.__traceback__)[-1]
    said = str(error).encode("unicode_escape").decode()[:_LONGEST_LOGGED]
    _log.error("%s: %s (%s:%s)", type(error).__name__, said, place.filename, place.lineno)
