"""The register's engines with their limits, and their builds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from babbitt.jobs.detect import judge_engine
from babbitt.model.part_records import AsBuilt
from babbitt.model.records import Build, EngineRecord
from babbitt.present.views.register import (
    AS_BUILT,
    ENGINES,
    as_built_cells,
    engine_builds,
    engine_cells,
    engine_list,
    limits_text,
)
from babbitt.present.words import NOTHING, Reader
from babbitt.register.records import builds, engines
from babbitt_dashboard.address import path_to
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import Field, Form, Given, moment, moment_or_none, show_form
from babbitt_dashboard.marks import link, table

_PAGE = "register"
_NO_ENGINE = "No engine is in the register yet: add one below."


def show(desk: Desk, state: Mapping[str, Any]) -> list[Any]:
    """Return the engines, the limits of the one chosen, and the forms."""
    found = engine_list(desk.book)
    chosen = state.get("engine")
    parts: list[Any] = [_engines(found, desk.reader)]
    if chosen:
        text = limits_text(desk.book, chosen)
        parts += [
            html.H2(f"Limits of {chosen}"),
            html.Pre(text, className="spec", tabIndex=0, **{"aria-label": f"Limits of {chosen}"}),
            show_form(SET_LIMITS, _PAGE, {"engine": [(chosen, chosen)]}, spec=text),
        ]
    return [*parts, show_form(ADD_ENGINE, _PAGE)]


def show_builds(desk: Desk, state: Mapping[str, Any]) -> list[Any]:
    """Return the builds of the engine chosen, what the newest measured, and the form."""
    found = engine_list(desk.book)
    if not found:
        return [table(["engine"], [], empty=_NO_ENGINE), show_form(ADD_ENGINE, _PAGE)]
    chosen = state.get("engine") or found[0].engine_id
    told = engine_builds(desk.book, chosen)
    names = [(each.engine_id, each.engine_id) for each in found]
    return [
        html.P(
            [
                html.Span(
                    link(name, path_to("register", section="builds", engine=name)),
                    className="here" if name == chosen else "",
                )
                for name, _ in names
            ],
            className="choices",
        ),
        html.H2(f"Builds of {chosen}"),
        _builds(told.builds, desk.reader),
        html.H2("As built"),
        _measured(told.measured),
        show_form(REFRESH, _PAGE, {"engine": names}, engine=chosen),
    ]


def _engines(found: Sequence[EngineRecord], reader: Reader) -> html.Div:
    return table(
        [*ENGINES, ""],
        [
            [
                link(each.engine_id, path_to("engine", each.engine_id)),
                *engine_cells(each, reader)[1:],
                html.Span(
                    [
                        link(
                            "limits", path_to("register", section="engines", engine=each.engine_id)
                        ),
                        " ",
                        link(
                            "builds", path_to("register", section="builds", engine=each.engine_id)
                        ),
                    ]
                ),
            ]
            for each in found
        ],
        left=5,
        empty=_NO_ENGINE,
    )


def _builds(found: Sequence[Build], reader: Reader) -> html.Div:
    return table(
        ["build", "since", "until", "note", "record"],
        [
            [
                str(each.number),
                reader.day(each.since) if each.since else "its first run",
                reader.day(each.until) if each.until else "today",
                each.note or NOTHING,
                f"refresh {each.refresh_id}" if each.refresh_id else NOTHING,
            ]
            for each in found
        ],
        left=5,
    )


def _measured(found: Sequence[AsBuilt]) -> html.Div:
    return table(
        AS_BUILT,
        [_measurement(each) for each in found],
        left=4,
        empty="Nothing was measured: a build sheet given with "
        "`babbitt engine refresh --sheet SHEET.toml` brings it in.",
    )


def _measurement(each: AsBuilt) -> list[Any]:
    cells: list[Any] = [*as_built_cells(each)]
    if each.now is not None and each.now.within_tolerance is False:
        now = AS_BUILT.index("now")
        cells[now] = html.Strong(f"{cells[now]} outside", className="harm")
    return cells


def _add_engine(desk: Desk, given: Given) -> str:
    built = moment_or_none(desk, given, "built")
    with desk.book.register.writing(desk.who) as session:
        engines.add_engine(session, given["id"], given["spec"], built_at=built)
    return f"{given['id']} is in the register."


def _set_limits(desk: Desk, given: Given) -> str:
    with desk.book.register.writing(desk.who) as session:
        engines.set_spec(session, given["engine"], given["spec"], reason=given["note"])
    judged = judge_engine(desk.book, given["engine"])
    return f"{given['engine']} has new limits; {len(judged.judged)} runs were searched again."


def _refresh(desk: Desk, given: Given) -> str:
    at = moment(desk, given, "at")
    with desk.book.register.writing(desk.who) as session:
        builds.add_refresh(session, given["engine"], at, given["note"])
    judge_engine(desk.book, given["engine"])
    return f"{given['engine']}: refresh on {desk.reader.day(at)}; totals count from then."


ADD_ENGINE = Form(
    "add-engine",
    "Add an engine",
    (
        Field("id", "Serial or name", required=True),
        Field("built", "First built on", "day", hint="earlier logs are refused"),
        Field("spec", "Its geometry and limits (TOML)", "long", required=True),
    ),
    "Add the engine",
    _add_engine,
)
SET_LIMITS = Form(
    "set-limits",
    "Put other limits in force",
    (
        Field("engine", "Engine", "choice", required=True),
        Field("spec", "Its geometry and limits (TOML)", "long", required=True),
        Field("note", "Why"),
    ),
    "Judge by these limits",
    _set_limits,
)
REFRESH = Form(
    "refresh",
    "Write down a refresh",
    (
        Field("engine", "Engine", "choice", required=True),
        Field("at", "When", "day", required=True),
        Field("note", "What was done"),
    ),
    "Totals begin anew",
    _refresh,
)
FORMS = (ADD_ENGINE, SET_LIMITS, REFRESH)
