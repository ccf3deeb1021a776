"""Teardown: where to look, what is found, and what it fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from dash import dcc, html

from babbitt.model.part_records import FindingRecord, TeardownRecord
from babbitt.present.views.teardown import (
    Bench,
    SheetView,
    recorded_finding,
    recorded_teardown,
    sheet_view,
    stripped,
)
from babbitt.present.views.teardown_draft import Draft, draft_of
from babbitt.present.words import place
from babbitt_dashboard.address import number_from, path_to, state_store
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import link
from babbitt_dashboard.page import Page
from babbitt_dashboard.pages.teardown_fit import fit
from babbitt_dashboard.pages.teardown_form import layout_of
from babbitt_dashboard.pages.teardown_live import DRAFT, connect
from babbitt_dashboard.pages.teardown_sheet import sheet
from babbitt_dashboard.pages.teardown_table import grid


def layout(
    desk: Desk,
    engine_id: str,
    at: str | None = None,
    show: str | None = None,
    finding: str | None = None,
    part: str = "",
    position: str = "",
    entry: str | None = None,
    view: str | None = None,
    **_: Any,
) -> list[Any]:
    """Return the page of an engine that comes apart, or of a recorded teardown.

    Args:
        desk: the logbook.
        engine_id: the engine.
        at: of a recorded teardown, ISO 8601.
        show: "sheet", "enter" or "fit"; None: the first that there is.
        finding: number of a recorded finding to correct.
        part: chosen kind of part.
        position: of it.
        entry: number of the entry in the form.
        view: "table" enters in a table; else in the drawing.
    """
    teardown = None if at is None else recorded_teardown(desk.book, engine_id, at)
    head = _head(desk, engine_id, teardown, show)
    if show == "enter":
        record = None
        if finding is not None and teardown is not None:
            number = number_from(finding, 0, low=0, high=2**62)
            record = recorded_finding(desk.book, engine_id, number)
        chosen = {"part": part, "position": position, "entry": entry or "", "view": view or ""}
        return [*head, *_entering(desk, engine_id, teardown, record, chosen)]
    if teardown is not None and show != "sheet":
        foreseen = desk.foresight.at(desk.now())
        return [*head, *fit(stripped(desk.book, teardown, foreseen), desk.reader)]
    looked = _sheet(desk, engine_id, teardown)
    before = [] if teardown else _before(desk, looked.bench.teardowns)
    return [*head, *before, *sheet(looked.words)]


def _before(desk: Desk, teardowns: Sequence[TeardownRecord]) -> list[Any]:
    """Return links to the teardowns that an engine had."""
    if not teardowns:
        return []
    links = [
        link(
            desk.reader.day(each.at),
            path_to("teardown", each.engine_id, at=each.at.isoformat()),
            className="td-earlier",
        )
        for each in teardowns
    ]
    return [html.P(["Apart before: ", *links], className="secondary no-print")]


def _sheet(desk: Desk, engine_id: str, teardown: TeardownRecord | None) -> SheetView:
    return sheet_view(
        desk.book,
        engine_id,
        desk.reader,
        foreseen=desk.foresight.at(desk.now()),
        before=teardown.at if teardown else None,
    )


def _head(
    desk: Desk, engine_id: str, teardown: TeardownRecord | None, show: str | None
) -> list[Any]:
    if teardown is None:
        title, at = f"{engine_id}: take it apart", None
        views = [("sheet", "where to look"), ("enter", "enter what is found")]
    else:
        title, at = f"{engine_id}, apart on {desk.reader.day(teardown.at)}", teardown.at.isoformat()
        views = [("fit", "what it fits"), ("enter", "add findings"), ("sheet", "the sheet before")]
    here = show if show in dict(views) else views[0][0]
    return [
        html.H1(title),
        html.Nav(
            [
                *(
                    html.Span(
                        link(
                            words,
                            path_to("teardown", engine_id, at=at, show=name),
                            className="here" if name == here else "",
                        ),
                        **({"aria-current": "page"} if name == here else {}),
                    )
                    for name, words in views
                ),
                link("all teardowns", "/teardowns"),
            ],
            className="td-views no-print",
            **{"aria-label": "This teardown"},
        ),
    ]


def _entering(
    desk: Desk,
    engine_id: str,
    teardown: TeardownRecord | None,
    record: FindingRecord | None,
    chosen: Mapping[str, str],
) -> list[Any]:
    bench = _bench(desk, _sheet(desk, engine_id, teardown).bench, teardown)
    if record is None:
        kept = f"{engine_id}@{teardown.teardown_id}" if teardown else engine_id
        store = dcc.Store(id=DRAFT | {"of": kept}, storage_type="local")
        draft = Draft()
    else:
        draft = draft_of(record, layout_of(bench))
        entry = draft.entries[0]
        bench |= {"finding": record.finding_id, "seen": record.version}
        spot = {"part": entry.part, "position": entry.position, "entry": str(entry.n)}
        chosen = spot | {"view": ""}
        store = dcc.Store(id=DRAFT | {"of": "correction"}, data=draft.model_dump(mode="json"))
    drawn = html.Div(
        html.Div(
            [
                html.Img(id="teardown-section", alt=""),
                html.Div(id="teardown-parts", role="group", **{"aria-label": "Parts"}),
            ],
            className="td-engine-drawn",
        ),
        className="td-scroll",
        hidden=record is not None,
    )
    in_table = chosen["view"] == "table"
    sides = [drawn, html.Div(id="teardown-form", className="td-form")]
    if in_table:
        title = "Fill a row for each part; the order is that of the sheet."
    elif record is None:
        title = "Choose a part, grade it with 0 to 4; tinted is where to look first."
    else:
        where = place(record.finding.part, (record.finding.position,))
        title = f"Correct the finding on {where}, or withdraw it; the journal keeps both."
    return [
        html.P(
            [title, *_other_view(engine_id, teardown, record, in_table=in_table)], className="lead"
        ),
        store,
        dcc.Store(id="teardown-bench", data=bench),
        dcc.Store(id="teardown-action"),
        dcc.Store(id="teardown-done"),
        state_store("teardown", chosen),
        dcc.Location(id="teardown-go", refresh="callback-nav"),
        html.Div(sides, className="td-enter" if record is None else "td-correct", hidden=in_table),
        *([grid()] if in_table else []),
        html.Div(id="teardown-said", role="status"),
        html.Div(id="teardown-entered", hidden=record is not None),
        html.Div(id="teardown-record"),
    ]


def _other_view(
    engine_id: str, teardown: TeardownRecord | None, record: FindingRecord | None, *, in_table: bool
) -> list[Any]:
    if record is not None:
        return []
    at = teardown.at.isoformat() if teardown else None
    other = None if in_table else "table"
    words = "enter in the drawing" if in_table else "enter all in a table"
    href = path_to("teardown", engine_id, at=at, show="enter", view=other)
    return [" ", link(words, href, className="td-other-view")]


def _bench(desk: Desk, bench: Bench, teardown: TeardownRecord | None) -> dict[str, Any]:
    today: datetime = desk.now().astimezone(desk.reader.timezone)
    return {
        "engine": bench.engine_id,
        "layout": [bench.layout.name, bench.layout.cylinders],
        "spots": [list(spot) for spot in bench.spots],
        "likely": [list(spot) for spot in sorted(bench.likely)],
        "teardown": teardown.teardown_id if teardown else None,
        "at": teardown.at.isoformat() if teardown else None,
        "day": f"{today:%Y-%m-%d}",
        "hour": f"{today:%H:%M}",
        "finding": None,
        "seen": None,
    }


PAGE = Page(
    name="Teardowns",
    path="/teardown/<engine_id>",
    title="Teardown",
    layout=layout,
    connect=connect,
)
