"""Run: where it was, and saying it better."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, dcc, html
from dash.exceptions import PreventUpdate

from babbitt.errors import BabbittError
from babbitt.present.views.run import RunView, read_run, run_title
from babbitt.register.records import corrections
from babbitt.register.records.circuits import circuits_known
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import circuit_box, known_circuits, refusal

Told = tuple[str, Any, dict[str, Any]]
"""The title of the page, what is said below the field, and what is known of the run."""


def where_form(desk: Desk, view: RunView) -> html.Details:
    """Return the field for the circuit of a run, folded where it is known."""
    with desk.book.register.reading() as session:
        known = circuits_known(session)
    circuit = view.record.circuit or ""
    box = circuit_box(circuit, "circuit", id="run-circuit")
    return html.Details(
        [
            html.Summary("Correct where it was" if circuit else "Say where it was"),
            html.Div(
                [
                    html.Label(["Circuit ", box]),
                    html.Button("Keep", id="run-circuit-keep"),
                    known_circuits(known),
                    html.Span(id="run-circuit-said", **{"aria-live": "polite"}),
                    dcc.Store(id="run-known", data=_known(view)),
                ],
                className="run-where",
            ),
        ],
        className="run-fold no-print",
    )


def put_at(desk: Desk, known: dict[str, Any], circuit: str) -> Told:
    """Keep where a run was; what is refused is a sentence.

    Args:
        desk: the logbook.
        known: id of the run, and the version that the person looked at.
        circuit: as it was typed; "" where nobody knows.
    """
    run_id, said = known["run"], html.Span("Kept.")
    try:
        with desk.book.register.writing(desk.who) as session:
            corrections.amend_run(session, run_id, seen=known["version"], circuit=circuit)
    except BabbittError as error:
        said = refusal(str(error))
    view = read_run(desk.book, run_id)
    return run_title(view, desk.reader), said, _known(view)


def connect_where(app: Dash, desk: Desk) -> None:
    """Answer the button."""

    @app.callback(
        Output("run-title", "children"),
        Output("run-circuit-said", "children"),
        Output("run-known", "data"),
        Input("run-circuit-keep", "n_clicks"),
        State("run-circuit", "value"),
        State("run-known", "data"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, circuit: str | None, known: dict[str, Any]) -> Told:
        if not clicks:
            raise PreventUpdate
        return put_at(desk, known, circuit or "")


def _known(view: RunView) -> dict[str, Any]:
    return {"run": view.record.run_id, "version": view.record.version}
