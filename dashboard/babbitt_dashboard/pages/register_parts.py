"""The register's parts: where they are, what they ran, and the shops they are out at."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import dash_ag_grid as dag
from dash import html

from babbitt.model.damage_modes import part_named
from babbitt.model.damage_modes import parts as kinds
from babbitt.model.part_records import PartPlace
from babbitt.model.plain_text import parse_instant
from babbitt.present.views.register import (
    PartLife,
    PartLine,
    engine_list,
    part_life,
    part_lines,
    where_is,
)
from babbitt.present.words import NOTHING, Reader, duration
from babbitt.register.records import fitments, parts, work
from babbitt_dashboard.address import path_to
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import Field, Form, Given, moment, show_form
from babbitt_dashboard.marks import empty_state, link, table

_PAGE = "register"
_NEVER = datetime.max.replace(tzinfo=UTC)


def show(desk: Desk, state: Mapping[str, Any]) -> list[Any]:
    """Return every part with where it is, the life of the one chosen, and the forms."""
    found = part_lines(desk.book)
    ids = [(each.place.part.part_id, each.place.part.part_id) for each in found]
    names = [(each.engine_id, each.engine_id) for each in engine_list(desk.book)]
    chosen = state.get("part")
    options = {"part": ids, "engine": names, "kind": [(k, p.title) for k, p in kinds().items()]}
    forms = (ADD_PART, FIT, REMOVE, SEND_OUT) if found else (ADD_PART,)
    return [
        *(_life(part_life(desk.book, chosen), desk.reader) if chosen else []),
        html.H2("Every part"),
        _grid(found, desk.reader)
        if found
        else empty_state("No part is tracked yet: add a crankshaft or a set of bearings below."),
        *(show_form(form, _PAGE, options, part=chosen or "") for form in forms),
    ]


def show_out(desk: Desk, _: Mapping[str, Any]) -> list[Any]:
    """Return the parts that are out for work, the overdue first, and the form to take one back."""
    reader, now = desk.reader, desk.now()
    out = [
        (each.place, each.place.work)
        for each in part_lines(desk.book)
        if each.place.work is not None
    ]
    rows = []
    for place, job in sorted(out, key=lambda each: each[1].due or _NEVER):
        late = job.due is not None and job.due < now
        due = f"{reader.day(job.due)}, overdue" if late else reader.day(job.due)
        rows.append(
            [
                _part_link(place),
                part_named(place.part.kind).title,
                job.shop,
                job.what,
                reader.day(job.since),
                html.Strong(due, className="harm") if late else due,
            ]
        )
    ids = [(place.part.part_id, place.part.part_id) for place, _ in out]
    listing = table(
        ["part", "kind", "at", "for", "since", "due"],
        rows,
        left=6,
        empty="No part is out for work: `Parts` sends one out.",
    )
    return [listing, *([show_form(TAKE_BACK, _PAGE, {"part": ids})] if ids else [])]


def _as_it_is(text: str) -> str:
    """Return text so that Markdown shows every sign of it, and takes none for a mark of its own."""
    return re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", text)


def _grid(found: Sequence[PartLine], reader: Reader) -> dag.AgGrid:
    rows = [
        {
            "part": f"[{_as_it_is(each.place.part.part_id)}]"
            f"({path_to('register', section='parts', part=each.place.part.part_id)})",
            "kind": part_named(each.place.part.kind).title,
            "where": where_is(each.place, reader),
            "runs": each.runs,
            "hours": round(each.running_s / 3600.0, 2),
            "service": f"{100 * each.service.use.share:.0f} % used" if each.service else "",
            "note": each.place.part.note,
        }
        for each in found
    ]
    columns = [
        {"field": "part", "headerName": "part", "cellRenderer": "markdown", "flex": 1},
        {"field": "kind", "headerName": "kind", "flex": 1},
        {"field": "where", "headerName": "where", "flex": 2.4},
        {"field": "runs", "headerName": "runs", "type": "rightAligned", "flex": 0.7},
        {"field": "hours", "headerName": "running, h", "type": "rightAligned", "flex": 0.9},
        {"field": "service", "headerName": "service limit", "flex": 1.1},
        {"field": "note", "headerName": "note", "flex": 1.6},
    ]
    return dag.AgGrid(
        id="register-parts",
        rowData=rows,
        columnDefs=columns,
        defaultColDef={"sortable": True, "filter": True, "resizable": True, "minWidth": 90},
        dashGridOptions={
            "domLayout": "autoHeight" if len(rows) <= 20 else "normal",
            "rowHeight": 32,
            "headerHeight": 32,
            "suppressCellFocus": False,
        },
        className="grid",
        style={"height": None if len(rows) <= 20 else "60vh"},
    )


def _life(life: PartLife, reader: Reader) -> list[Any]:
    title = part_named(life.part.kind).title
    note = html.P(life.part.note) if life.part.note else None
    return [
        html.H2(f"{life.part.part_id}: {title}"),
        note,
        table(
            ["engine", "position", "since", "until", "record"],
            [
                [
                    link(each.engine_id, path_to("engine", each.engine_id)),
                    each.position or NOTHING,
                    reader.day(each.since),
                    reader.day(each.until) if each.until else "today",
                    f"fitment {each.fitment_id}",
                ]
                for each in life.fitments
            ],
            caption="Where it sat",
            left=5,
            empty="It never sat in an engine.",
        ),
        *(
            [
                table(
                    ["at", "for", "out on", "back on", "result", "record"],
                    [
                        [
                            each.shop,
                            each.what,
                            reader.day(each.since),
                            reader.day(each.back_at),
                            each.result or NOTHING,
                            f"work {each.work_id}",
                        ]
                        for each in life.work
                    ],
                    caption="What was done to it outside",
                    left=6,
                )
            ]
            if life.work
            else []
        ),
        *(
            html.P(
                f"It had run {duration(each.running_s)} before {reader.day(each.until)} "
                f"(history {each.history_id}). {each.note}"
            )
            for each in life.history
        ),
    ]


def _part_link(place: PartPlace) -> Any:
    part_id = place.part.part_id
    return link(part_id, path_to("register", section="parts", part=part_id))


def _add(desk: Desk, given: Given) -> str:
    with desk.book.register.writing(desk.who) as session:
        part = parts.add_part(session, given["id"], given["kind"], note=given["note"])
    return f"{part_named(part.kind).title} {part.part_id} is on the shelf."


def _fit(desk: Desk, given: Given) -> str:
    with desk.book.register.writing(desk.who) as session:
        fitment = fitments.fit_part(
            session,
            given["part"],
            given["engine"],
            at=moment(desk, given, "at"),
            position=given["position"] or None,
            replacing=given["replacing"] == "yes",
            reason=given["note"],
        )
    place = f" at {fitment.position}" if fitment.position else ""
    since = desk.reader.day(fitment.since)
    return f"{fitment.part_id} sits in {fitment.engine_id}{place} from {since}."


def _remove(desk: Desk, given: Given) -> str:
    with desk.book.register.writing(desk.who) as session:
        fitment = fitments.remove_part(
            session, given["part"], at=moment(desk, given, "at"), reason=given["note"]
        )
    return f"{fitment.part_id} came out of {fitment.engine_id} on {desk.reader.day(fitment.until)}."


def _send_out(desk: Desk, given: Given) -> str:
    due = parse_instant(given["due"]) if given["due"] else None
    if due is not None and due.tzinfo is None:
        due = due.replace(tzinfo=desk.reader.timezone)
    with desk.book.register.writing(desk.who) as session:
        sent = work.send_out(
            session,
            given["part"],
            shop=given["shop"],
            what=given["what"],
            since=moment(desk, given, "at"),
            due=due,
            reason=given["note"],
        )
    promised = f", due back {desk.reader.day(sent.due)}" if sent.due else ""
    return f"{sent.part_id} is out at {sent.shop}: {sent.what}{promised}."


def _take_back(desk: Desk, given: Given) -> str:
    with desk.book.register.writing(desk.who) as session:
        taken = work.take_back(
            session,
            given["part"],
            at=moment(desk, given, "at"),
            result=given["result"],
            reason=given["note"],
        )
    return f"{taken.part_id} is back from {taken.shop}: {taken.result}."


_PART = Field("part", "Part", "choice", required=True)
_AT = Field("at", "When", "day", required=True)
_NOTE = Field("note", "Note")

ADD_PART = Form(
    "add-part",
    "Put a part on the shelf",
    (
        Field("id", "Serial, or label of the batch", required=True),
        Field("kind", "Kind", "choice", required=True),
        _NOTE,
    ),
    "Add the part",
    _add,
)
FIT = Form(
    "fit",
    "Fit a part to an engine",
    (
        _PART,
        Field("engine", "Engine", "choice", required=True),
        Field("position", "Cylinder, journal or side"),
        _AT,
        Field("replacing", "Take out what sits there: yes or no", hint="yes, or empty for no"),
        _NOTE,
    ),
    "Fit it",
    _fit,
)
REMOVE = Form(
    "remove", "Take a part out of its engine", (_PART, _AT, _NOTE), "Take it out", _remove
)
SEND_OUT = Form(
    "send-out",
    "Send a part out for work",
    (
        _PART,
        Field("shop", "To", required=True),
        Field("what", "For", required=True),
        _AT,
        Field("due", "Promised back on", "day"),
        _NOTE,
    ),
    "Send it out",
    _send_out,
)
TAKE_BACK = Form(
    "take-back",
    "Take a part back from work",
    (_PART, _AT, Field("result", "What was done and found", required=True), _NOTE),
    "Take it back",
    _take_back,
)
FORMS = (ADD_PART, FIT, REMOVE, SEND_OUT, TAKE_BACK)
