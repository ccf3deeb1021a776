"""Engines: which one do I pull?"""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from babbitt.errors import BabbittError
from babbitt.model.kinds import KINDS, Kind
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.present.views.fleet import (
    SORTS,
    Fleet,
    FleetEngine,
    advice,
    ahead_in_words,
    because,
    drift_in_figures,
    fleet,
    lately_in_words,
    quality_in_words,
)
from babbitt.present.views.foresight import Foreseen
from babbitt.present.views.logs_refused import count_refused, refused_in_words
from babbitt.present.words import NOTHING, Reader, duration, share, unbroken
from babbitt_dashboard.address import mirror_state, number_from, path_to, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import (
    call_mark,
    caution,
    empty_state,
    life_bar,
    link,
    print_button,
    refusal,
)
from babbitt_dashboard.page import Page

_LOOK_AGAIN_MS = 30_000
_ORDER = {
    "urgency": "other",
    "engine": "ascending",
    "pressure": "ascending",
    "watched": "ascending",
}
"""How columns are sorted, where not from high to low."""


def layout(desk: Desk, runs: str | None = None, sort: str | None = None, **_: Any) -> list[Any]:
    """Return every engine with its call, in the order asked for."""
    ahead = number_from(runs, 1, low=1, high=MOST_RUNS)
    order = sort if sort in SORTS else "urgency"
    foreseen = desk.foresight.at(desk.now())
    if not foreseen.known and not foreseen.faults:
        return [
            html.H1("Engines"),
            empty_state(
                "No engine is in the logbook yet: add one with `babbitt engine add ID --spec "
                "SPEC.toml`, then take its logs in."
            ),
        ]
    found = fleet(foreseen, runs=ahead, sort=order)
    refused = count_refused(desk.book)
    return [
        html.Div(
            [
                html.H1("Engines"),
                html.Span(
                    _lately(found, desk.reader, refused), id="engines-lately", className="secondary"
                ),
            ],
            className="title-line",
        ),
        html.P(advice(found), id="engines-advice", className="lead"),
        *map(refusal, found.faults),
        html.Div(
            [
                html.Label("Look ahead, runs", htmlFor="engines-runs"),
                dcc.Input(
                    id="engines-runs",
                    type="number",
                    value=ahead,
                    min=1,
                    max=MOST_RUNS,
                    step=1,
                    debounce=0.4,
                ),
                print_button(path_to("report", "engines.html", runs=ahead)),
                html.A("Events, CSV", href=path_to("csv", "events.csv"), className="button"),
                html.A("Totals, CSV", href=path_to("csv", "totals.csv"), className="button"),
            ],
            className="eng-controls no-print",
        ),
        html.Div(listing(found, desk.reader, order), id="engines-list"),
        caution(),
        state_store("engines", {"runs": ahead, "sort": order}),
        dcc.Store(id="engines-as-of", data=_as_of(foreseen, refused)),
        dcc.Interval(id="engines-tick", interval=_LOOK_AGAIN_MS),
    ]


def _as_of(foreseen: Foreseen, refused: int) -> str:
    """Return what tells one state of what is shown from another."""
    return f"{foreseen.at.isoformat()} {refused}"


def _lately(found: Fleet, reader: Reader, refused: int) -> list[Any]:
    """Return what came in of late, and the way to the logs that did not."""
    ran, not_in = lately_in_words(found, reader), refused_in_words(refused)
    between = [" · "] if ran and not_in else []
    return [ran, *between, *([link(not_in, path_to("logs"))] if not_in else [])]


def listing(found: Fleet, reader: Reader, sort: str) -> html.Div:
    """Return the engines as a table, most urgent or as sorted."""
    heads = [
        _head("Call", "urgency", found, sort),
        _head("Engine", "engine", found, sort),
        html.Th(f"What drove it, {ahead_in_words(found.runs)}", scope="col"),
        _head("Running", "running", found, sort, right=True),
        *(_head(KINDS[kind].title.capitalize(), kind, found, sort) for kind in found.kinds),
        _head("Oil pressure", "pressure", found, sort, right=True),
        _head("Last run", "last", found, sort, right=True),
        _head("Logs", "watched", found, sort),
    ]
    rows = [_row(engine, found, reader) for engine in found.engines]
    title = (
        "Bars: share of the life dose used since the refresh; paler, what the next "
        f"{'run' if found.runs == 1 else f'{found.runs} runs'} would add; the stroke is the limit. "
        "Oil pressure: against fresh."
    )
    return html.Div(
        html.Table(
            [html.Caption(title), html.Thead(html.Tr(heads)), html.Tbody(rows, className="group")],
            className="eng-table",
        ),
        className="table-wrap",
    )


def _head(words: str, sort: str, found: Fleet, chosen: str, *, right: bool = False) -> html.Th:
    ahead = None if found.runs == 1 else found.runs
    href = path_to(runs=ahead, sort=None if sort == "urgency" else sort)
    here = {"aria-sort": _ORDER.get(sort, "descending")} if sort == chosen else {}
    return html.Th(
        link(words, href, className="eng-here" if here else "", title=f"Sort by {words.lower()}"),
        scope="col",
        className="right" if right else None,
        **here,
    )


def _row(engine: FleetEngine, found: Fleet, reader: Reader) -> html.Tr:
    drift, totals = engine.drift, engine.totals
    ahead = None if found.runs == 1 else found.runs
    name = link(
        engine.engine_id,
        path_to("engine", engine.engine_id, runs=ahead),
        className="eng-name",
    )
    fallen = drift is not None and drift.falling
    cells: list[tuple[str, Any, str]] = [
        ("", call_mark(engine.call), "eng-call"),
        ("", name, ""),
        ("", unbroken(because(engine.outlook, reader)), "eng-why"),
        ("Running", duration(totals.running_s), "right"),
        *((KINDS[kind].title, _life(engine, kind), "eng-life") for kind in found.kinds),
        (
            "Oil pressure",
            drift_in_figures(drift),
            "right harm" if fallen else "right",
        ),
        ("Last run", reader.day(totals.last_run), "right"),
        ("Logs", unbroken(quality_in_words(totals)), "eng-logs"),
    ]
    return html.Tr(
        [
            html.Td(value, className=kind or None, **({"data-head": head} if head else {}))
            for head, value, kind in cells
        ],
    )


def _life(engine: FleetEngine, kind: Kind) -> list[Any]:
    use = engine.life.get(kind)
    if use is None:
        return [html.Span(NOTHING, title="No life dose in the spec")]
    return [
        life_bar(KINDS[kind].title, use.used, use.ahead),
        html.Span(share(use.used), className="eng-share"),
    ]


def look(
    desk: Desk, runs: int | None, sort: str, as_of: str, *, ticked: bool
) -> tuple[Any, Any, Any, Any, Any]:
    """Return listing, advice, state, what they stand for and what came in of late.

    Nothing where nothing changed.
    """
    if runs is None:
        return (no_update,) * 5
    try:
        foreseen = desk.foresight.at(desk.now())
        refused = count_refused(desk.book)
        shown = _as_of(foreseen, refused)
        if ticked and shown == as_of:
            return (no_update,) * 5
        found = fleet(foreseen, runs=runs, sort=sort)
    except BabbittError as error:
        return refusal(str(error)), *(no_update,) * 4
    state = {"runs": runs, "sort": sort}
    lately = _lately(found, desk.reader, refused)
    return listing(found, desk.reader, sort), advice(found), state, shown, lately


def connect(app: Dash, desk: Desk) -> None:
    """Look further ahead when asked to, and look again by itself: logs may have come in."""

    @app.callback(
        Output("engines-list", "children"),
        Output("engines-advice", "children"),
        Output("engines-state", "data"),
        Output("engines-as-of", "data"),
        Output("engines-lately", "children"),
        Input("engines-runs", "value"),
        Input("engines-tick", "n_intervals"),
        State("engines-state", "data"),
        State("engines-as-of", "data"),
        prevent_initial_call=True,
    )
    def answer(runs: int | None, _tick: int, state: dict[str, Any], as_of: str) -> Any:
        ticked = ctx.triggered_id == "engines-tick"
        return look(desk, runs, state["sort"], as_of, ticked=ticked)

    mirror_state(app, "engines")


PAGE = Page(name="Engines", path="/", title="Engines", layout=layout, connect=connect)
