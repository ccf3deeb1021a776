"""Engine: what has it been through, and what next?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from babbitt.errors import BabbittError
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.present.outlook_words import after
from babbitt.present.views import engine_words as words
from babbitt.present.views.engine_figures import (
    drift_figure,
    map_figure,
    pressure_figure,
    story_figure,
)
from babbitt.present.views.engine_prospect import Prospect, prospect
from babbitt.present.views.engine_story import Story, engine_story
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import unbroken
from babbitt_dashboard.address import mirror_state, number_from, path_to, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import call_mark, caution, graph, link, print_button, refusal, table
from babbitt_dashboard.page import Page

_ANY = ""
"""Stands for no circuit in particular."""


def layout(
    desk: Desk, engine_id: str, runs: str | None = None, circuit: str = _ANY, **_: Any
) -> list[Any]:
    """Return the story of an engine since its refresh, and what its next runs may bring."""
    ahead = number_from(runs, 1, low=1, high=MOST_RUNS)
    foreseen = desk.foresight.at(desk.now())
    try:
        story = engine_story(desk.book, foreseen, engine_id)
    except BabbittError as error:
        return [html.H1("Engine"), refusal(str(error)), html.P(link("To the engines", "/"))]
    unknown = []
    try:
        found = prospect(desk.book, foreseen, engine_id, ahead, circuit or None)
    except BabbittError as error:
        unknown = [refusal(f"{error} What follows is for any circuit.")]
        found = prospect(desk.book, foreseen, engine_id, ahead)
    line = graph(
        story_figure(story, found, reader=desk.reader, ink=desk.ink),
        f"Time line of {engine_id}: {words.time_line_in_words(story)}",
        graph_id="engine-line",
    )
    return [
        html.Div(verdict(desk, engine_id, found), id="engine-verdict"),
        _say(words.since_in_words(story, desk.reader)),
        _controls(engine_id, found),
        html.Div([*unknown, *drawn(found)], id="engine-drawn", role="status"),
        html.H2("Since the refresh"),
        _say(words.time_line_in_words(story)),
        html.Div(line, className="egn-wide"),
        html.H2("What the next runs may bring"),
        html.Div(outlook(found), id="engine-outlook"),
        html.H2("What it has taken"),
        html.Div(taken(desk, story, found), id="engine-taken"),
        html.Div(
            [_running(desk, story), *_pressure(desk, story, found), _worst(desk, story)],
            className="egn-pair",
        ),
        html.H2("Parts"),
        html.Div(_table(words.parts_table(story)), id="engine-parts"),
        caution(),
        state_store("engine", _state(found)),
        dcc.Store(id="engine-id", data=engine_id),
    ]


def verdict(desk: Desk, engine_id: str, found: Prospect) -> list[Any]:
    """Return the call, its reasons, and what would change it."""
    said = words.call_in_words(found, desk.reader)
    return [
        html.H1([engine_id, " ", call_mark(found.outlook.verdict.call)], className="egn-title"),
        html.Div(
            [
                html.Div([_say(said[0], "lead"), *map(_say, said[1:])]),
                html.Div(
                    [
                        _listed("What would change it", words.changes_in_words(found)),
                        _listed("To keep in mind", words.gaps_in_words(found, desk.reader)),
                    ]
                ),
            ],
            className="egn-verdict",
        ),
    ]


def drawn(found: Prospect) -> list[html.P]:
    """Return which runs at a circuit the next ones are drawn from."""
    return [_say(sentence) for sentence in words.drawn_sentences(found)]


def outlook(found: Prospect) -> list[Any]:
    """Return the chances of damage, the first limit, and what it all was learned from."""
    return [
        *map(_say, words.ahead_sentences(found)),
        _table(words.outlook_table(found)),
    ]


def taken(desk: Desk, story: Story, found: Prospect) -> html.Div:
    """Return what the engine has taken of each kind of harm."""
    return _table(words.totals_table(story, found, desk.reader))


def ahead(desk: Desk, engine_id: str, runs: int | None, circuit: str | None) -> tuple[Any, ...]:
    """Return what the page shows of so many runs ahead, at a circuit or anywhere.

    Returns:
        The verdict, figure, outlook, totals, state of the address, label, address of the report,
        and what the runs are drawn from.
    """
    if runs is None:
        return (no_update,) * 8
    runs = min(max(int(runs), 1), MOST_RUNS)
    try:
        foreseen = desk.foresight.at(desk.now())
        story = engine_story(desk.book, foreseen, engine_id)
        found = prospect(desk.book, foreseen, engine_id, runs, circuit or None)
    except BabbittError as error:
        return refusal(str(error)), *(no_update,) * 7
    return (
        verdict(desk, engine_id, found),
        story_figure(story, found, reader=desk.reader, ink=desk.ink),
        outlook(found),
        taken(desk, story, found),
        _state(found),
        after(runs),
        _report(engine_id, found),
        drawn(found),
    )


def connect(app: Dash, desk: Desk) -> None:
    """Look as far ahead as the slider says, at the circuit that is chosen."""

    @app.callback(
        Output("engine-verdict", "children"),
        Output("engine-line", "figure"),
        Output("engine-outlook", "children"),
        Output("engine-taken", "children"),
        Output("engine-state", "data"),
        Output("engine-ahead", "children"),
        Output("engine-report", "href"),
        Output("engine-drawn", "children"),
        Input("engine-runs", "value"),
        Input("engine-circuit", "value"),
        State("engine-id", "data"),
        prevent_initial_call=True,
    )
    def answer(runs: int | None, circuit: str | None, engine_id: str) -> Any:
        return ahead(desk, engine_id, runs, circuit)

    mirror_state(app, "engine")


def _state(found: Prospect) -> dict[str, Any]:
    return {"runs": found.outlook.runs, "circuit": found.outlook.pool.circuit}


def _report(engine_id: str, found: Prospect) -> str:
    return path_to("report", "engine", f"{engine_id}.html", **_state(found))


def _circuit(found: Prospect) -> dmc.Select:
    """Return the choice of where the next runs will be."""
    known = [{"value": name, "label": f"at {name}"} for name in found.circuits]
    any_circuit = "at any circuit" if known else "no circuit is known"
    return dmc.Select(
        id="engine-circuit",
        data=[{"value": _ANY, "label": any_circuit}, *known],
        value=found.outlook.pool.circuit or _ANY,
        disabled=not known,
        allowDeselect=False,
        searchable=len(known) > 12,
        radius=2,
        size="sm",
        className="egn-circuit",
        **{"aria-label": "Where the next runs will be"},
    )


def _controls(engine_id: str, found: Prospect) -> html.Div:
    csv, runs = {"engine": engine_id}, found.outlook.runs
    return html.Div(
        [
            html.Span("Look ahead", className="secondary"),
            dmc.Slider(
                id="engine-runs",
                value=runs,
                min=1,
                max=MOST_RUNS,
                thumbLabel="Look ahead, runs",
                color="var(--ink)",
                size="xs",
                className="egn-slider",
            ),
            html.Span(after(runs), id="engine-ahead", role="status"),
            _circuit(found),
            print_button(_report(engine_id, found), id="engine-report"),
            html.A("Events, CSV", href=path_to("csv", "events.csv", **csv), className="button"),
            html.A("Totals, CSV", href=path_to("csv", "totals.csv", **csv), className="button"),
            link("All its runs", path_to("runs", engine=engine_id), className="button"),
        ],
        className="egn-controls no-print",
    )


def _worst(desk: Desk, story: Story) -> html.Section:
    """Return the events that took most of a life dose, each with a link to its trace."""
    told = words.worst_table(story, desk.reader)
    events = words.worst_events(story)
    rows = [
        (link(row[0], path_to("run", run_id, event=event_id)), *map(unbroken, row[1:]))
        for row, run_id, event_id in zip(
            told.rows, events["run_id"], events["event_id"], strict=True
        )
    ]
    listed = table(told.columns, rows, caption=told.caption, left=told.left, empty=told.empty)
    return html.Section([html.H2("What took most of it"), listed])


def _running(desk: Desk, story: Story) -> html.Section:
    said = words.table_in_words(story)
    figure = map_figure(story, reader=desk.reader, ink=desk.ink)
    return html.Section(
        [
            html.H2("How it was run"),
            _say(said),
            graph(figure, f"Minutes by engine speed and boost. {said}") if figure else None,
        ]
    )


def _pressure(desk: Desk, story: Story, found: Prospect) -> list[html.Section]:
    said = words.pressure_in_words(story)
    seen = pressure_figure(story, reader=desk.reader, ink=desk.ink)
    drifted = words.drift_words(story, found, desk.reader)
    drift = drift_figure(story, ink=desk.ink)
    return [
        html.Section(
            [
                html.H2("Oil pressure"),
                _say(said),
                graph(seen, "Steady oil pressure by engine speed, over the expected")
                if seen
                else None,
            ]
        ),
        html.Section(
            [
                html.H2("Drift of oil pressure"),
                _say(drifted),
                graph(drift, drifted) if drift else None,
            ]
        ),
    ]


def _say(sentence: str, kind: str | None = None) -> html.P:
    return html.P(unbroken(sentence), className=kind)


def _listed(title: str, sentences: Iterable[str]) -> html.Div | None:
    said = list(sentences)
    if not said:
        return None
    return html.Div(
        [html.Strong(title), html.Ul([html.Li(unbroken(sentence)) for sentence in said])],
        className="egn-said",
    )


def _table(told: TextTable) -> html.Div:
    rows = [[unbroken(cell) for cell in row] for row in told.rows]
    return table(told.columns, rows, caption=told.caption, left=told.left, empty=told.empty)


PAGE = Page(
    name="Engines", path="/engine/<engine_id>", title="Engine", layout=layout, connect=connect
)
