"""Runs: all of them, newest first."""

from __future__ import annotations

from typing import Any, get_args

import dash_mantine_components as dmc
from dash import Dash, Input, Output, dcc, html

from babbitt.errors import BabbittError
from babbitt.present.views.runs import (
    A_PAGE,
    RunsView,
    harm_words,
    quality_word,
    read_runs,
    review_word,
)
from babbitt.present.words import NOTHING, Reader, duration, number
from babbitt.register.queries.run_lines import Only, RunLine
from babbitt_dashboard.address import day_from, mirror_state, number_from, path_to, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import empty_state, link, print_button, refusal, table
from babbitt_dashboard.page import Page

_ONLY: dict[Only, str] = {
    "all": "all runs",
    "harm": "runs with harmful events",
    "to_review": "runs with events to review",
}
_EVERY = ""
_EVERY_CIRCUIT = {_EVERY: "every circuit"}


def layout(
    desk: Desk,
    engine: str = _EVERY,
    circuit: str = _EVERY,
    since: str = "",
    until: str = "",
    only: str = "all",
    page: str = "1",
    **_: Any,
) -> html.Div:
    """Return the page."""
    state = _state(engine, circuit, since, until, only)
    shown, view = _listing(desk, state, number_from(page, 1, low=1, high=10**6))
    engines, circuits = (view.engines, view.circuits) if view else ((), ())
    return html.Div(
        [
            html.H1("Runs"),
            html.Div(
                [
                    _choice("runs-engine", "Engine", engine, {_EVERY: "every engine"}, engines),
                    _choice("runs-circuit", "Circuit", circuit, _EVERY_CIRCUIT, circuits),
                    _choice("runs-only", "Show", state["only"] or "all", dict(_ONLY)),
                    _day("runs-since", "From", since),
                    _day("runs-until", "Until", until),
                ],
                className="runs-filter no-print",
            ),
            html.Div(shown, id="runs-list", **{"aria-live": "polite"}),
            state_store("runs", state | {"page": page if page != "1" else None}),
        ]
    )


def listing(
    desk: Desk, engine: str, circuit: str, since: str, until: str, only: str, page: int = 1
) -> list[Any]:
    """Return the runs that fit a filter, and what leads to more of them.

    Args:
        desk: what the page works with.
        engine: its id; "" for every engine.
        circuit: where; "" for every circuit.
        since: first day, like 2026-05-31; "" for none.
        until: last day; "" for none.
        only: all, harm or to_review.
        page: of the listing, from 1.
    """
    return _listing(desk, _state(engine, circuit, since, until, only), page)[0]


def connect(app: Dash, desk: Desk) -> None:
    """Let the filter narrow the list."""
    mirror_state(app, "runs")

    @app.callback(
        Output("runs-list", "children"),
        Output("runs-state", "data"),
        Input("runs-engine", "value"),
        Input("runs-circuit", "value"),
        Input("runs-since", "value"),
        Input("runs-until", "value"),
        Input("runs-only", "value"),
        prevent_initial_call=True,
    )
    def narrow(
        engine: str | None,
        circuit: str | None,
        since: str | None,
        until: str | None,
        only: str | None,
    ) -> tuple[list[Any], dict[str, Any]]:
        chosen = engine or _EVERY, circuit or _EVERY, since or "", until or "", only or "all"
        return listing(desk, *chosen), _state(*chosen) | {"page": None}


def _state(engine: str, circuit: str, since: str, until: str, only: str) -> dict[str, Any]:
    """Return what the address says of the filter; what it leaves open is None."""
    return {
        "engine": engine or None,
        "circuit": circuit or None,
        "since": since if day_from(since) else None,
        "until": until if day_from(until) else None,
        "only": only if only in get_args(Only) and only != "all" else None,
    }


def _listing(desk: Desk, state: dict[str, Any], page: int) -> tuple[list[Any], RunsView | None]:
    reader = desk.reader
    try:
        view = read_runs(
            desk.book,
            reader.timezone,
            engine_id=state["engine"],
            circuit=state["circuit"],
            first_day=day_from(state["since"]),
            last_day=day_from(state["until"]),
            only=state["only"] or "all",
            page=page,
        )
    except BabbittError as error:
        return [refusal(str(error))], None
    if not view.found:
        return [_empty(view)], view
    rows = [_row(line, reader) for line in view.lines]
    columns = ("run", "engine", "circuit", "harm", "review", "read", "lasted", "peak, rpm")
    listed = html.Div(table(columns, rows, left=6), className="runs-table")
    head = html.Div(
        [
            html.P(_counted(view), className="secondary"),
            print_button(path_to("report", "runs.html", **state)),
        ],
        className="title-line",
    )
    return [head, listed, _pager(view, state)], view


def _row(line: RunLine, reader: Reader) -> tuple[Any, ...]:
    when = reader.instant(line.started_at) + (" ?" if line.start_basis == "file" else "")
    open_ = any(each.to_review for each in line.kinds)
    return (
        link(when, path_to("run", line.run_id), title=line.source_name or "not logged"),
        line.engine_id,
        line.circuit or NOTHING,
        harm_words(line, reader),
        html.Span(review_word(line), className="runs-open" if open_ else "secondary"),
        html.Span(quality_word(line), title=" ".join(line.warnings) or None),
        duration(line.duration_s),
        NOTHING if line.peak_rpm is None else number(line.peak_rpm),
    )


def _counted(view: RunsView) -> str:
    if view.pages == 1:
        return "1 run." if view.found == 1 else f"{view.found:,} runs, newest first."
    first = (view.page - 1) * A_PAGE + 1
    return f"{view.found:,} runs, newest first: {first:,} to {first + len(view.lines) - 1:,}."


def _pager(view: RunsView, state: dict[str, Any]) -> html.Nav | None:
    if view.pages == 1:
        return None
    links = [("newer runs", view.page - 1), ("older runs", view.page + 1)]
    return html.Nav(
        [
            link(words, path_to("runs", **state, page=at if at > 1 else None))
            for words, at in links
            if 1 <= at <= view.pages
        ],
        className="runs-pager no-print",
        **{"aria-label": "More runs"},
    )


def _empty(view: RunsView) -> html.P:
    if not view.engines:
        return empty_state("There are no runs yet: ", link("take logs in", "/logs"), ".")
    return empty_state("No run fits this filter: widen it, or ", link("show all", "/runs"), ".")


def _choice(
    name: str, label: str, value: str, first: dict[Any, str], more: tuple[str, ...] = ()
) -> dmc.Select:
    data = [{"value": key, "label": words} for key, words in first.items()]
    data += [{"value": each, "label": each} for each in more]
    return dmc.Select(
        id=name,
        label=label,
        data=data,
        value=value,
        allowDeselect=False,
        searchable=len(data) > 12,
        radius=2,
        size="sm",
    )


def _day(name: str, label: str, value: str) -> html.Div:
    field = dcc.Input(id=name, type="date", value=value if day_from(value) else "")
    return html.Div([html.Label(label, htmlFor=name), field], className="runs-day")


PAGE = Page(name="Runs", path="/runs", title="Runs", layout=layout, connect=connect)
