"""Logs: did my file go in, and right?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from babbitt.errors import BabbittError
from babbitt.present.views.logs import LogsView, logs_view, preview
from babbitt.present.views.logs_inbox import MOST_BYTES
from babbitt.present.views.logs_quality import sensors_view
from babbitt_dashboard.address import mirror_state, path_to, state_change, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import said_place
from babbitt_dashboard.marks import empty_state, link, print_button, refusal
from babbitt_dashboard.page import Page
from babbitt_dashboard.pages.logs_acts import carry_out
from babbitt_dashboard.pages.logs_parts import lately_part, sensors_part, told_part, waiting_part
from babbitt_dashboard.pages.logs_preview import preview_part
from babbitt_dashboard.pages.logs_refused import refused_part

_PAGE = "logs"


def layout(desk: Desk, file: str | None = None, engine: str | None = None, **_: str) -> list[Any]:
    """Return the page.

    Args:
        desk: the logbook.
        file: token of the log that waits and is shown.
        engine: whose sensors are shown; None: that of the log taken in last.
    """
    view = logs_view(desk.book)
    opened = file if file in {each.token for each in view.waiting} else None
    shown = parts(desk, view, opened)
    return [
        html.Div(
            [
                html.H1("Logs"),
                html.Span(_newest(desk, view), className="secondary"),
                print_button(path_to("report", "logs.html")),
            ],
            className="title-line",
        ),
        _drop(view),
        html.Div(id="logs-progress", **{"aria-live": "polite"}),
        said_place(_PAGE),
        html.Div(id="logs-told", **{"aria-live": "polite"}),
        html.Div(shown[0], id="logs-waiting"),
        html.Div(shown[1], id="logs-preview"),
        html.Div(refused_part(view, desk.reader), id="logs-refused"),
        html.Div(lately_part(view.lately, desk.reader), id="logs-lately"),
        *_sensors(view, engine),
        state_store(_PAGE, {"file": opened, "engine": engine or None}),
        dcc.Store(id="logs-action"),
        dcc.Store(id="logs-outcomes", data=[]),
        dcc.Store(id="logs-done"),
    ]


def parts(desk: Desk, view: LogsView, opened: str | None) -> tuple[list[Any], list[Any]]:
    """Return the list of what waits, and what the opened log holds."""
    if opened is None:
        return waiting_part(view, desk.reader, None), []
    try:
        shown = preview_part(preview(desk.book, opened), desk.reader)
    except BabbittError as error:
        shown = [refusal(str(error))]
    return waiting_part(view, desk.reader, opened), shown


def act(
    desk: Desk, action: Mapping[str, Any], outcomes: list[Any], opened: str | None
) -> tuple[Any, ...]:
    """Do what was asked for, and return what the page then shows.

    Args:
        desk: the logbook.
        action: what `carry_out` takes.
        outcomes: what became of logs before.
        opened: token of the log that is shown.

    Returns:
        What waits, the opened log, what is said, what became of logs (shown, and as kept), what
        went in lately, the token of the opened log, the number of the action, and what was refused.
    """
    done = carry_out(desk, action, outcomes, opened)
    view = logs_view(desk.book)
    opened = done.opened if done.opened in {each.token for each in view.waiting} else None
    waiting, shown = parts(desk, view, opened)
    return (
        waiting,
        shown,
        done.said,
        told_part(done.told),
        no_update if done.told is outcomes else list(done.told),
        lately_part(view.lately, desk.reader) if done.took else no_update,
        opened,
        action.get("number"),
        refused_part(view, desk.reader),
    )


def sensors(desk: Desk, engine: str | None) -> list[Any]:
    """Return the sensors of an engine across its newest runs."""
    if not engine:
        return []
    try:
        return sensors_part(sensors_view(desk.book, engine), desk.reader)
    except BabbittError as error:
        return [refusal(str(error))]


def connect(app: Dash, desk: Desk) -> None:
    """Answer the buttons and fields, and the choice of an engine."""
    mirror_state(app, _PAGE)

    @app.callback(
        Output("logs-waiting", "children"),
        Output("logs-preview", "children"),
        Output("logs-said", "children"),
        Output("logs-told", "children"),
        Output("logs-outcomes", "data"),
        Output("logs-lately", "children"),
        Output("logs-state", "data", allow_duplicate=True),
        Output("logs-done", "data"),
        Output("logs-refused", "children"),
        Input("logs-action", "data"),
        State("logs-outcomes", "data"),
        State("logs-state", "data"),
        prevent_initial_call=True,
    )
    def answer(action: dict[str, Any], outcomes: list[Any], state: dict[str, Any]) -> Any:
        *shown, opened, number, refused = act(desk, action, outcomes or [], state.get("file"))
        return *shown, state_change(file=opened), number, refused

    @app.callback(
        Output("logs-sensors", "children"),
        Output("logs-state", "data", allow_duplicate=True),
        Input("logs-engine", "value"),
        Input("logs-outcomes", "data"),
        prevent_initial_call="initial_duplicate",
    )
    def show_sensors(engine: str | None, _: Any) -> Any:
        return sensors(desk, engine), state_change(engine=engine)

    app.clientside_callback(
        "function (done) { return window.babbitt.logsDone(done); }",
        Output("logs-done", "id"),
        Input("logs-done", "data"),
    )


def _newest(desk: Desk, view: LogsView) -> str:
    if not view.lately:
        return "no log taken in yet"
    return f"newest taken in {desk.reader.instant(view.lately[0].ingested_at)}"


def _drop(view: LogsView) -> Any:
    if not view.engines:
        return empty_state(
            "No engine is in the logbook yet: ",
            link("add one in the register", "/register"),
            ", then come back with its logs.",
        )
    return html.Div(
        [
            html.P(
                [
                    "Drop logs or folders here, or ",
                    html.Button("choose files", className="strong", **{"data-logs-pick": "files"}),
                    " ",
                    html.Button("choose a folder", **{"data-logs-pick": "folder"}),
                ],
                className="logs-drop-words",
            ),
            html.P(
                "CSV or text, also packed as .gz, .zst or .zip, up to "
                f"{MOST_BYTES >> 30} GB each. You see what is in them before they are taken in.",
                className="secondary",
            ),
        ],
        id="logs-drop",
        className="no-print",
    )


def _sensors(view: LogsView, engine: str | None) -> list[Any]:
    if not view.engines:
        return []
    last = view.lately[0].engine_id if view.lately else view.engines[0]
    return [
        html.H2("Sensors, run by run"),
        dmc.Select(
            id="logs-engine",
            label="Engine",
            data=list(view.engines),
            value=engine if engine in view.engines else last,
            allowDeselect=False,
            searchable=len(view.engines) > 12,
            radius=2,
            size="sm",
            className="logs-engine",
        ),
        html.Div(id="logs-sensors", **{"aria-live": "polite"}),
    ]


PAGE = Page(name="Logs", path="/logs", title="Logs", layout=layout, connect=connect)
