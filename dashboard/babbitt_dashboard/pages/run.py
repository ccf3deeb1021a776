"""Run: what happened, and is it real?"""

from __future__ import annotations

from typing import Any, cast

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from babbitt.errors import BabbittError
from babbitt.model.event import Event, Verdict
from babbitt.present.figures.cross import cross_figure
from babbitt.present.figures.ink import plain_figure
from babbitt.present.figures.traces import traces_figure
from babbitt.present.views.cross import CHOICES, choice_title, cross_of
from babbitt.present.views.run import (
    RunView,
    left_to_review,
    read_run,
    run_title,
    what_happened,
    what_was_read,
)
from babbitt.present.views.run_traces import bounds, more_channels, open_run, read_at, window_of
from babbitt.present.views.shelf import RunShelf
from babbitt.present.words import clock
from babbitt.register.records import events
from babbitt_dashboard.address import mirror_state, path_to, seconds_from, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import graph, link, print_button, refusal
from babbitt_dashboard.page import Page
from babbitt_dashboard.pages import run_parts as parts
from babbitt_dashboard.pages.run_moves import BUTTONS, Place, moved, pressed, window_around
from babbitt_dashboard.pages.run_where import connect_where, where_form

USUAL_HEIGHT, PANEL_HEIGHT, CROSS_HEIGHT = 536, 92, 380
"""Pixels."""

_BETWEEN = "|"
"""Stands between the names of channels in the address."""


def layout(
    desk: Desk,
    run_id: str,
    event: str = "",
    start: str = "",
    end: str = "",
    more: str = "",
    cross: str = "",
    **_: Any,
) -> html.Div:
    """Return the page; the traces follow when they are drawn."""
    view = read_run(desk.book, run_id)
    reader = desk.reader
    known = [name for name, _ in more_channels(view)]
    place: Place = {
        "event": event if view.event(event) else None,
        "start": seconds_from(start),
        "end": seconds_from(end),
        "more": [name for name in more.split(_BETWEEN) if name in known],
        "cross": cross if cross in CHOICES else None,
        "clicks": {},
    }
    if place["event"] and place["start"] is None:
        place |= window_around(view, cast(Event, view.event(event)))
    return html.Div(
        [
            html.Div(
                [
                    html.H1(run_title(view, reader), id="run-title"),
                    parts.neighbours(view),
                    print_button(report_address(view.record.run_id, place), id="run-report"),
                ],
                className="title-line",
            ),
            html.P(_finding(desk, view), id="run-finding", className="lead"),
            html.P(" ".join(what_was_read(view)), className="run-read"),
            *_by_place(view, place["event"]),
            where_form(desk, view),
            *([] if view.record.unlogged else [_body(desk, view, place)]),
        ],
        id="run-page",
    )


def _by_place(view: RunView, event_id: str | None) -> list[Any]:
    """Return in which corners harm was, and the way to the map; nothing without laps."""
    if view.by_place is None:
        return []
    way = link("By place", path_to("place", view.record.run_id, event=event_id))
    return [html.P([*(f"{each} " for each in view.by_place), way], id="run-by-place")]


def _body(desk: Desk, view: RunView, place: Place) -> html.Div:
    waiting = plain_figure(
        desk.ink, height=USUAL_HEIGHT, xaxis={"visible": False}, yaxis={"visible": False}
    )
    left = [
        html.Div([html.H2("Events"), parts.steps()], className="title-line"),
        html.Ol(parts.event_list(view, place["event"], desk.reader), id="run-list"),
        html.Div(id="run-chosen"),
        parts.review_form(usable=place["event"] is not None),
        parts.keys_switch(),
    ]
    right = [
        html.H2("Traces", className="run-unseen"),
        parts.moves(),
        graph(
            waiting,
            "Traces of the run over one time axis; the sentences on the left say what they show",
            graph_id="run-traces",
            config={"scrollZoom": True, "doubleClick": "autosize"},
        ),
        html.Div(id="run-trouble"),
        html.Div(_choices(view, place), className="run-choices no-print"),
        html.Div(id="run-crossed"),
    ]
    return html.Div(
        [
            html.Section(left, className="run-left"),
            html.Section(right, className="run-right"),
            state_store("run", _address(place)),
            dcc.Store(id="run-place", data=place),
            dcc.Store(id="run-event", data=place["event"]),
            dcc.Store(id="run-id", data=view.record.run_id),
            dcc.Store(id="run-seen", data=view.newest_review),
            dcc.Store(id="run-reviewed", data=0),
        ],
        className="run-grid",
    )


def report_address(run_id: str, place: Place) -> str:
    """Return the address of the report of a run, with what is seen of it."""
    seen = {name: place[name] for name in ("event", "start", "end")}
    return path_to("report", "run", f"{run_id}.html", **seen)


def _choices(view: RunView, place: Place) -> list[Any]:
    more = [dmc.Checkbox(label=title, value=name) for name, title in more_channels(view)]
    crossed = [{"label": "none", "value": ""}]
    crossed += [{"label": choice_title(name), "value": name} for name in CHOICES]
    return [
        dmc.Select(
            id="run-cross",
            label="Cross-plot of what is seen",
            data=crossed,
            value=place["cross"] or "",
            allowDeselect=False,
            radius=2,
            size="sm",
        ),
        dmc.CheckboxGroup(
            html.Div(more),
            id="run-more",
            label="More channels",
            value=place["more"],
            size="sm",
            display="block" if more else "none",
        ),
    ]


def _finding(desk: Desk, view: RunView) -> str:
    return f"{what_happened(view, desk.reader)} {left_to_review(view)}".strip()


def traces(desk: Desk, shelf: RunShelf, run_id: str, place: Place) -> tuple[Any, str]:
    """Return the traces where one looks, and what they show in words.

    Raises:
        BabbittError: the run cannot be read.
    """
    view = read_run(desk.book, run_id)
    run = open_run(shelf, view, place["more"])
    start_s, end_s = bounds(run.duration_s, place["start"], place["end"])
    window = window_of(
        run, view, desk.reader, start_s, end_s, more=place["more"], chosen=place["event"]
    )
    figure = traces_figure(
        window.panels,
        window.bands,
        desk.ink,
        start_s=start_s,
        end_s=end_s,
        height=USUAL_HEIGHT + PANEL_HEIGHT * len(place["more"]),
        hours=run.duration_s >= 3600.0,
    )
    return figure, _said(view, place, start_s, end_s)


def looked_at(
    desk: Desk, shelf: RunShelf, run_id: str, event_id: str | None
) -> tuple[list[Any], list[Any], str, int]:
    """Return the list of events, the chosen one, the finding, and the newest review's number."""
    view = read_run(desk.book, run_id)
    event = view.event(event_id)
    try:
        at_worst = {} if event is None else read_at(open_run(shelf, view), event.peak_s)
    except BabbittError:
        at_worst = {}  # said where the traces would stand
    return (
        parts.event_list(view, event_id, desk.reader),
        parts.chosen_event(view, event, desk.reader, at_worst),
        _finding(desk, view),
        view.newest_review,
    )


def crossed(desk: Desk, shelf: RunShelf, run_id: str, place: Place) -> list[Any]:
    """Return the cross-plot that is chosen, of what is seen; nothing where none is."""
    if not place["cross"]:
        return []
    view = read_run(desk.book, run_id)
    run = open_run(shelf, view)
    ends = bounds(run.duration_s, place["start"], place["end"])
    cross = cross_of(run, view, desk.reader, place["cross"], *ends)
    if cross is None:
        return [html.P("This run lacks a channel of this plot.", className="empty")]
    figure = cross_figure(
        cross.quiet,
        cross.harmful,
        cross.curves,
        cross.marks,
        desk.ink,
        x_title=cross.x_title,
        y_title=cross.y_title,
        height=CROSS_HEIGHT,
    )
    return [html.P(cross.says), graph(figure, cross.says, graph_id="run-cross-plot")]


def review(desk: Desk, event_id: str, verdict: Verdict, note: str, seen: int) -> None:
    """Keep a person's word on an event.

    Args:
        desk: what the page works with.
        event_id: the event.
        verdict: the word.
        note: why.
        seen: number of the newest review of the run that they looked at.

    Raises:
        BabbittError: the event is gone, or somebody reviewed it meanwhile.
    """
    with desk.book.register.writing(desk.who) as session:
        events.add_review(session, event_id, verdict, note.strip(), seen=seen)


def connect(app: Dash, desk: Desk) -> None:
    """Let the page be moved along the run, and its events be judged."""
    shelf = RunShelf(desk.book)
    mirror_state(app, "run")
    connect_where(app, desk)
    where = State("run-id", "data")

    @app.callback(
        Output("run-place", "data"),
        Output("run-state", "data"),
        Output("run-event", "data"),
        Input({"type": "run-event", "id": ALL}, "n_clicks"),
        *(Input(f"run-{name}", "n_clicks") for name in BUTTONS),
        Input("run-traces", "relayoutData"),
        Input("run-more", "value"),
        Input("run-cross", "value"),
        State("run-place", "data"),
        where,
        prevent_initial_call=True,
    )
    def move(*inputs: Any) -> tuple[Place, Place, Any]:
        place, run_id = inputs[-2:]
        view, by, value = read_run(desk.book, run_id), ctx.triggered_id, ctx.triggered[0]["value"]
        there = pressed(view, place, {name: inputs[1 + at] or 0 for at, name in enumerate(BUTTONS)})
        is_button = isinstance(by, str) and by.removeprefix("run-") in BUTTONS
        if not is_button and value not in (None, 0):  # no row that was just drawn
            there = moved(view, there, by, value)
        if there == place:
            raise PreventUpdate
        chosen = there["event"] if there["event"] != place["event"] else no_update
        return there, _address(there), chosen

    @app.callback(
        Output("run-traces", "figure"),
        Output("run-said", "children"),
        Output("run-trouble", "children"),
        Output("run-report", "href"),
        Input("run-place", "data"),
        Input("run-reviewed", "data"),
        where,
    )
    def draw(place: Place, _: int, run_id: str) -> tuple[Any, ...]:
        href = report_address(run_id, place)
        try:
            return *traces(desk, shelf, run_id, place), None, href
        except BabbittError as error:
            return no_update, "", refusal(str(error)), href

    @app.callback(
        Output("run-list", "children"),
        Output("run-chosen", "children"),
        Output("run-finding", "children"),
        Output("run-seen", "data"),
        *(Output(f"run-{verdict}", "disabled") for verdict in parts.VERDICT_KEYS),
        Input("run-event", "data"),
        Input("run-reviewed", "data"),
        where,
    )
    def look(event_id: str | None, _: int, run_id: str) -> tuple[Any, ...]:
        none = [event_id is None] * len(parts.VERDICT_KEYS)
        return *looked_at(desk, shelf, run_id, event_id), *none

    @app.callback(
        Output("run-crossed", "children"),
        Input("run-place", "data"),
        Input("run-reviewed", "data"),
        where,
    )
    def draw_crossed(place: Place, _: int, run_id: str) -> list[Any]:
        try:
            return crossed(desk, shelf, run_id, place)
        except BabbittError as error:
            return [refusal(str(error))]

    @app.callback(
        Output("run-reviewed", "data"),
        Output("run-note", "value"),
        Output("run-refusal", "children"),
        *(Input(f"run-{verdict}", "n_clicks") for verdict in parts.VERDICT_KEYS),
        State("run-event", "data"),
        State("run-note", "value"),
        State("run-seen", "data"),
        State("run-reviewed", "data"),
        prevent_initial_call=True,
    )
    def judge(*inputs: Any) -> tuple[Any, Any, Any]:
        event_id, note, seen, reviewed = inputs[-4:]
        if not ctx.triggered[0]["value"] or event_id is None:
            raise PreventUpdate
        verdict = cast(Verdict, ctx.triggered_id.removeprefix("run-"))
        try:
            review(desk, event_id, verdict, note or "", seen)
        except BabbittError as error:
            return reviewed + 1, no_update, refusal(str(error))
        return reviewed + 1, "", None

    app.clientside_callback(
        "function (_) { return window.babbittRun.showChosen(); }",
        Output("run-list", "id"),
        Input("run-list", "children"),
    )


def _address(place: Place) -> Place:
    """Return what the address says of where one looks."""
    said = {name: value for name, value in place.items() if name != "clicks"}
    return {**said, "more": _BETWEEN.join(place["more"]) or None}


def _said(view: RunView, place: Place, start_s: float, end_s: float) -> str:
    ids = [event.event_id for event in view.events]
    words = "whole run" if place["start"] is None else f"{clock(start_s)} to {clock(end_s)}"
    if place["event"] in ids:
        words = f"event {ids.index(place['event']) + 1} of {len(ids)}, {words}"
    return words


PAGE = Page(
    name="Runs", path="/run/<run_id>", title="Run", layout=layout, connect=connect, wide=True
)
