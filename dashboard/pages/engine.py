"""Engine: what has it been through, and what next?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.address import mirror_state, number_from, path_to, state_store
from dashboard.desk import Desk
from dashboard.marks import call_mark, caution, graph, link, print_button, refusal, table
from dashboard.page import Page
from pipeline.errors import BabbittError
from pipeline.outlook.ahead import MOST_RUNS
from pipeline.show import unbroken
from pipeline.views import engine_words as words
from pipeline.views.engine_figures import drift_figure, map_figure, pressure_figure, story_figure
from pipeline.views.engine_prospect import Prospect, prospect
from pipeline.views.engine_story import Story, engine_story
from pipeline.views.fleet import ahead_in_words
from pipeline.views.text_table import TextTable


def layout(desk: Desk, engine_id: str, runs: str | None = None, **_: Any) -> list[Any]:
    """Return the story of an engine since its refresh, and what its next runs may bring."""
    ahead = number_from(runs, 1, low=1, high=MOST_RUNS)
    foreseen = desk.foresight.at(desk.now())
    try:
        story = engine_story(desk.book, foreseen, engine_id)
    except BabbittError as error:
        return [html.H1("Engine"), refusal(str(error)), html.P(link("To the engines", "/"))]
    found = prospect(desk.book, foreseen, engine_id, ahead)
    line = graph(
        story_figure(story, found, reader=desk.reader, ink=desk.ink),
        f"Time line of {engine_id}: {words.time_line_in_words(story)}",
        graph_id="engine-line",
    )
    return [
        html.Div(verdict(desk, engine_id, found), id="engine-verdict"),
        _say(words.since_in_words(story, desk.reader)),
        _controls(engine_id, ahead),
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
        state_store("engine", {"runs": ahead}),
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
                        _listed("To keep in mind", words.doubts_in_words(found)),
                    ]
                ),
            ],
            className="egn-verdict",
        ),
    ]


def outlook(found: Prospect) -> list[Any]:
    """Return the chances of damage, the first limit, and what it all was learned from."""
    return [
        *map(_say, words.ahead_sentences(found)),
        _table(words.outlook_table(found)),
    ]


def taken(desk: Desk, story: Story, found: Prospect) -> html.Div:
    """Return what the engine has taken of each kind of harm."""
    return _table(words.totals_table(story, found, desk.reader))


def ahead(desk: Desk, engine_id: str, runs: int | None) -> tuple[Any, Any, Any, Any, Any, Any]:
    """Return the verdict, figure, outlook, totals, state and label for so many runs ahead."""
    if runs is None:
        return (no_update,) * 6
    runs = min(max(int(runs), 1), MOST_RUNS)
    try:
        foreseen = desk.foresight.at(desk.now())
        story = engine_story(desk.book, foreseen, engine_id)
        found = prospect(desk.book, foreseen, engine_id, runs)
    except BabbittError as error:
        return refusal(str(error)), *(no_update,) * 5
    return (
        verdict(desk, engine_id, found),
        story_figure(story, found, reader=desk.reader, ink=desk.ink),
        outlook(found),
        taken(desk, story, found),
        {"runs": runs},
        ahead_in_words(runs),
    )


def connect(app: Dash, desk: Desk) -> None:
    """Look as far ahead as the slider says."""

    @app.callback(
        Output("engine-verdict", "children"),
        Output("engine-line", "figure"),
        Output("engine-outlook", "children"),
        Output("engine-taken", "children"),
        Output("engine-state", "data"),
        Output("engine-ahead", "children"),
        Input("engine-runs", "value"),
        State("engine-id", "data"),
        prevent_initial_call=True,
    )
    def answer(runs: int | None, engine_id: str) -> Any:
        return ahead(desk, engine_id, runs)

    mirror_state(app, "engine")


def _controls(engine_id: str, runs: int) -> html.Div:
    csv = {"engine": engine_id}
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
            html.Span(ahead_in_words(runs), id="engine-ahead", role="status"),
            print_button(path_to("report", "engine", f"{engine_id}.html", runs=runs)),
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
