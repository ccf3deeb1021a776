"""During a teardown: what the page shows of the draft, and what is done to it, in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, html, no_update

from babbitt.errors import BabbittError
from babbitt.model.damage_modes import parts
from babbitt.present.views.teardown_draft import Draft, draft_from
from babbitt_dashboard.address import mirror_state, number_from
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import refusal
from babbitt_dashboard.pages.teardown_acts import Acted, act, photographed, typed
from babbitt_dashboard.pages.teardown_enter import entered, picture, recording
from babbitt_dashboard.pages.teardown_form import does, form
from babbitt_dashboard.pages.teardown_table import GRID, cell, rows

DRAFT = {"type": "teardown-draft", "of": ALL}
"""The store of the draft; `of` tells whose it is."""


@dataclass(frozen=True)
class Seen:
    """What the page shows of a draft."""

    section: Any
    parts: Any
    form: Any
    entered: Any
    record: Any


def seen(desk: Desk, bench: Mapping[str, Any], here: Acted) -> Seen:
    """Return what the page shows.

    Args:
        desk: whose ink is used.
        bench: the engine.
        here: what is entered and chosen.
    """
    chosen = (here.part, here.position)
    section, parts = picture(bench, here.draft, chosen, desk.ink)
    shown = form(bench, here.draft, chosen, here.entry)
    return Seen(section, parts, shown, entered(here.draft), recording(bench, here.draft))


def opened(
    desk: Desk, bench: Mapping[str, Any], kept: Any, state: Mapping[str, Any]
) -> tuple[Seen, Draft]:
    """Return what the page shows of the draft that the browser kept, and that draft; see `seen`."""
    try:
        here = _here(kept, state)
    except BabbittError as error:
        start = html.Button("start over", **does("discard"))
        return Seen("", None, None, None, [refusal(str(error)), start]), Draft()
    return seen(desk, bench, here), here.draft


def _here(kept: Any, state: Mapping[str, Any]) -> Acted:
    """Return the page as it stands; an entry that is not there is the first one on its part."""
    draft = draft_from(kept)
    part, position = str(state.get("part") or ""), str(state.get("position") or "")
    n = number_from(str(state.get("entry") or ""), 0, low=0, high=2**31)
    if part and part not in parts():
        return Acted(draft)
    if state.get("entry") == "new" or any(
        entry.n == n for entry in draft.entries_at(part, position)
    ):
        return Acted(draft, part, position, n)
    return Acted(draft).at(part, position)


def done(
    desk: Desk,
    bench: Mapping[str, Any],
    kept: Any,
    state: Mapping[str, Any],
    what: Mapping[str, Any],
) -> Acted:
    """Return the page after something was done on it.

    Args:
        desk: the logbook.
        bench: the engine.
        kept: the draft as the browser keeps it.
        state: the chosen part.
        what: was done, as teardown.js tells it: `do` and `to` of a button; `field`, `entry` and
            `value` of a field; `row`, `column` and `value` of a cell of the table; or `files`, each
            with `name` and `content`, and the spot (`to`) that they were dropped on, if any.

    Raises:
        BabbittError: it cannot be done.
    """
    if what.get("do") == "discard":
        return Acted(Draft(), said="The draft is empty.")
    here = _here(kept, state)
    if "field" in what:
        return typed(here, what["field"], int(what["entry"]), str(what["value"]))
    if "row" in what:
        return cell(here, what["row"], what["column"], str(what["value"] or ""))
    if "files" in what:
        if what.get("to"):
            here = act(desk, bench, here, "choose", what["to"])
        return photographed(desk, here, [(each["name"], each["content"]) for each in what["files"]])
    return act(desk, bench, here, what["do"], what["to"])


def _listed(shown: Seen) -> list[Any]:
    return [shown.section, shown.parts, shown.form, shown.entered, shown.record]


def _state(page: Acted, before: Mapping[str, Any]) -> dict[str, str]:
    entry = str(page.entry or "new") if page.part else ""
    return {**before, "part": page.part, "position": page.position, "entry": entry}


def _rows(bench: Mapping[str, Any], draft: Draft, state: Mapping[str, Any]) -> list[Any]:
    """Return the content of every table on the page: there is one, or none."""
    return [rows(bench, draft)] if state.get("view") == "table" else []


def connect(app: Dash, desk: Desk) -> None:
    """Connect the drawing, the form and the draft; teardown.js hands on what is done, in order."""
    mirror_state(app, "teardown")
    views = [
        Output("teardown-section", "src"),
        Output("teardown-parts", "children"),
        Output("teardown-form", "children"),
        Output("teardown-entered", "children"),
        Output("teardown-record", "children"),
    ]
    again = [
        Output(each.component_id, each.component_property, allow_duplicate=True) for each in views
    ]

    @app.callback(
        *views,
        Output(GRID | {"of": ALL}, "rowData"),
        Input(DRAFT, "modified_timestamp"),
        State("teardown-done", "data"),
        State("teardown-state", "data"),
        State(DRAFT, "data"),
        State("teardown-bench", "data"),
    )
    def show(
        _: Any, number: Any, state: Mapping[str, Any], kept: Sequence[Any], bench: Mapping[str, Any]
    ) -> Sequence[Any]:
        table = state.get("view") == "table"
        if number is not None:  # what is done shows its outcome itself
            return [*[no_update] * len(views), [no_update] * table]
        shown, draft = opened(desk, bench, kept[0], state)
        return [*_listed(shown), _rows(bench, draft, state)]

    @app.callback(
        Output(DRAFT, "data"),
        Output("teardown-state", "data"),
        Output("teardown-said", "children"),
        Output("teardown-go", "href"),
        Output("teardown-done", "data"),
        *again,
        Output(GRID | {"of": ALL}, "rowData", allow_duplicate=True),
        Input("teardown-action", "data"),
        State(DRAFT, "data"),
        State("teardown-state", "data"),
        State("teardown-bench", "data"),
        prevent_initial_call=True,
    )
    def do(
        what: Mapping[str, Any],
        kept: Sequence[Any],
        state: Mapping[str, Any],
        bench: Mapping[str, Any],
    ) -> Sequence[Any]:
        number = what["number"]
        try:
            page = done(desk, bench, kept[0], state, what)
        except BabbittError as error:
            same = [no_update] * len(views)
            table = _rows(bench, draft_from(kept[0]), state)  # without what was refused
            return [[no_update], no_update, refusal(str(error)), no_update, number, *same, table]
        shown = seen(desk, bench, page)
        if "field" in what:  # whoever types on in the next field must not lose it
            shown = replace(shown, form=no_update, record=no_update)
        said = html.P(page.said) if page.said else None
        draft = page.draft.model_dump(mode="json")
        table = _rows(bench, page.draft, state)
        told = [[draft], _state(page, state), said, page.go or no_update, number]
        return [*told, *_listed(shown), table]

    app.clientside_callback(
        "function (number) { return window.babbitt.teardownDone(number); }",
        Output("teardown-action", "id"),
        Input("teardown-done", "data"),
    )
    app.clientside_callback(
        "function (contents, names) { return window.babbitt.teardownPhotos(contents, names); }",
        Output("teardown-bench", "id"),
        Input({"type": "teardown-photos", "n": ALL}, "contents"),
        State({"type": "teardown-photos", "n": ALL}, "filename"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "function (changes) { return window.babbitt.teardownCells(changes); }",
        Output("teardown-done", "id"),
        Input(GRID | {"of": ALL}, "cellValueChanged"),
        prevent_initial_call=True,
    )
