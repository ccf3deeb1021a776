"""During a teardown: everything in one table, for those who would rather type."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import dash_ag_grid as dag

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import grades, part_named
from babbitt.model.plain_text import capital
from babbitt.present.views.teardown_draft import Draft, Entry, check
from babbitt_dashboard.pages.teardown_acts import Acted
from babbitt_dashboard.pages.teardown_form import DISPOSITIONS

GRID = {"type": "teardown-grid"}

_SCALE = {grade.value: f"{grade.value} {grade.title}" for grade in grades()}
_TYPED = ("value", "low", "high", "note", "measured")
"""Columns that are fields of an entry as they stand."""


def grid() -> dag.AgGrid:
    """Return the table; `rows` fills it."""
    return dag.AgGrid(
        id=GRID | {"of": "draft"},
        columnDefs=_columns(),
        rowData=[],
        getRowId="params.data.id",
        defaultColDef={"editable": True, "sortable": False, "resizable": True, "minWidth": 70},
        dashGridOptions={
            "singleClickEdit": True,
            "stopEditingWhenCellsLoseFocus": True,
            "enterNavigatesVertically": True,
            "enterNavigatesVerticallyAfterEdit": True,
            "suppressMovableColumns": True,
            "animateRows": False,
            "rowHeight": 32,
            "headerHeight": 32,
        },
        columnSize="responsiveSizeToFit",
        className="td-grid",
        style={"height": "66vh"},
    )


def _columns() -> list[dict[str, Any]]:
    def choice(field: str, name: str, values: Any, width: int) -> dict[str, Any]:
        return {
            "field": field,
            "headerName": name,
            "width": width,
            "cellEditor": "agSelectCellEditor",
            "cellEditorParams": values,
        }

    fixed = {"editable": False, "pinned": "left"}
    dispositions = {"values": ["", *(each.replace("_", " ") for each in DISPOSITIONS)]}
    return [
        {"field": "part", "headerName": "part", "width": 200, **fixed},
        {"field": "position", "headerName": "at", "width": 76, **fixed},
        {"field": "grade", "headerName": "grade, 0 to 4", "width": 120},
        choice("mode", "damage", {"function": "teardownChoices(params, 'modes')"}, 150),
        choice("measured", "measurement", {"function": "teardownChoices(params, 'measures')"}, 170),
        {"field": "value", "headerName": "value", "width": 90, "cellClass": "right"},
        {"field": "low", "headerName": "at least", "width": 90, "cellClass": "right"},
        {"field": "high", "headerName": "at most", "width": 90, "cellClass": "right"},
        choice("then", "then", dispositions, 110),
        {"field": "note", "headerName": "note", "width": 210},
    ]


def rows(bench: Mapping[str, Any], draft: Draft) -> list[dict[str, Any]]:
    """Return a row for each part in the order of the sheet, and one for each further entry."""
    faults = check(draft).faults
    spots = [tuple(spot) for spot in bench["spots"]]
    spots += [(entry.part, entry.position) for entry in draft.entries]
    made = []
    for part, position in dict.fromkeys(spots):
        entries = draft.entries_at(part, position) or (Entry(n=0, part=part, position=position),)
        made += [_row(entry, faults.get(entry.n, "")) for entry in entries]
    return made


def _row(entry: Entry, fault: str) -> dict[str, Any]:
    part = part_named(entry.part)
    return {
        "id": f"{entry.part}|{entry.position}|{entry.n}",
        "part": capital(part.title),
        "position": entry.position,
        "grade": "" if entry.grade is None else _SCALE[entry.grade],
        "mode": part.modes[entry.mode].title if entry.mode else "",
        "measured": entry.measured,
        "value": entry.value,
        "low": entry.low,
        "high": entry.high,
        "then": entry.disposition.replace("_", " "),
        "note": entry.note,
        "fault": fault,
        "modes": [mode.title for mode in part.modes.values()],
        "measures": [measure.name for measure in part.measurements],
    }


def cell(here: Acted, row: str, column: str, value: str) -> Acted:
    """Return the page after a cell was filled.

    Args:
        here: the page before.
        row: id of the row: kind of part, position and number of the entry (0: none is begun).
        column: which cell.
        value: as typed or chosen.

    Raises:
        RegisterError: there is no such cell, or its entry was taken out.
    """
    part, position, n = row.split("|")
    page = replace(here, part=part, position=position, entry=int(n))
    if n == "0" and here.draft.entries_at(part, position):
        page = page.at(part, position)  # another cell of its row began it meanwhile
    page = page.begun()
    if column == "grade":
        return _graded(page, value)
    if column == "mode":
        named = {mode.title: mode.name for mode in part_named(part).modes.values()}
        return page.changed(mode=named.get(value, ""))
    if column == "then":
        return page.changed(disposition=value.replace(" ", "_"))
    if column in _TYPED:
        return page.changed(**{column: value})
    raise RegisterError("There is no such column: load the page again.")


def _graded(page: Acted, value: str) -> Acted:
    if not value:
        return replace(page, draft=page.draft.without(page.entry)).at(page.part, page.position)
    if value[:1] not in {str(grade) for grade in _SCALE}:
        raise RegisterError(f"{value!r} is no grade: write 0 to {max(_SCALE)}.")
    return replace(page, draft=page.draft.graded(page.entry, int(value[:1])))
