"""Teardowns: every engine that came apart, what was found, and whether the log explains it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from dash import html

from babbitt.model.damage_modes import grades
from babbitt.model.plain_text import capital
from babbitt.present.views.teardowns import IntactEngine, TeardownLine, TeardownList, teardown_list
from babbitt.present.words import NOTHING, Reader, duration
from babbitt_dashboard.address import path_to
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import caution, empty_state, link, print_button
from babbitt_dashboard.page import Page, no_callbacks


def layout(desk: Desk, **_: Any) -> list[Any]:
    """Return all teardowns by engine, newest first, and the engines still together."""
    listed = teardown_list(desk.book, desk.foresight.at(desk.now()))
    return [
        html.Div(
            [html.H1("Teardowns"), print_button(path_to("report", "teardowns.html"))],
            className="title-line",
        ),
        html.P(_summary(listed), className="lead"),
        *_recorded(listed, desk.reader),
        *_intact(listed, desk.reader),
        caution(),
    ]


def _summary(listed: TeardownList) -> str:
    if not listed.lines:
        return "No engine came apart yet."
    damaged = [line for line in listed.lines if line.matches or line.unjudged]
    odd = [line for line in damaged if any(match.unexplained for match in line.matches)]
    count = len(listed.lines)
    words = f"{count} teardown{'' if count == 1 else 's'}, {len(damaged)} with damage"
    if not odd:
        return f"{words}; the log explains it in each." if damaged else f"{words}."
    named = ", ".join(line.teardown.engine_id for line in odd)
    return f"{words}; in {len(odd)} the log does not explain all of it ({named})."


def _recorded(listed: TeardownList, reader: Reader) -> list[Any]:
    if not listed.lines:
        return []
    head = html.Thead(
        html.Tr(
            [
                html.Th("engine", scope="col"),
                html.Th("apart on", scope="col"),
                *(
                    html.Th(grade.title, scope="col", className="right td-count")
                    for grade in grades()
                ),
                html.Th("worst found", scope="col"),
                html.Th("explained", scope="col"),
            ]
        )
    )
    lines = sorted(listed.lines, key=lambda line: line.teardown.engine_id)  # newest first in each
    groups = [
        _group(list(theirs), reader)
        for _, theirs in groupby(lines, key=lambda line: line.teardown.engine_id)
    ]
    caption = html.Caption("Every teardown, with how many findings have each grade")
    return [
        html.Div(html.Table([caption, head, *groups], className="td-list"), className="table-wrap")
    ]


def _group(lines: Sequence[TeardownLine], reader: Reader) -> html.Tbody:
    return html.Tbody(
        [_row(line, reader, named=at == 0) for at, line in enumerate(lines)], className="group"
    )


def _row(line: TeardownLine, reader: Reader, *, named: bool) -> html.Tr:
    teardown = line.teardown
    href = path_to("teardown", teardown.engine_id, at=teardown.at.isoformat())
    damage = line.worst is not None and grades()[line.worst.finding.grade].damaged
    engine = html.Span(teardown.engine_id, className="td-engine" if named else "td-engine again")
    return html.Tr(
        [
            html.Td(engine),
            html.Td(
                link(reader.day(teardown.at), href, title=f"Teardown of {teardown.engine_id}"),
                className="td-day",
            ),
            *(
                html.Td(str(line.counts.get(grade.value, "")), className="right td-count")
                for grade in grades()
            ),
            html.Td(
                capital(line.worst_words) or "all sound", className="td-worst" if damage else None
            ),
            html.Td(capital(line.explained) or NOTHING),
        ]
    )


def _intact(listed: TeardownList, reader: Reader) -> list[Any]:
    if not listed.engines:
        sentence = "No engine is in the logbook yet: `babbitt engine add ID --spec SPEC.toml`."
        return [empty_state(sentence)]
    title = html.H2("Still together")
    if not listed.intact:
        sentence = "Every engine is apart: a refresh begins its next build."
        return [title, empty_state(sentence)]
    return [title, html.Ul(_engines(listed.intact, reader), className="td-intact")]


def _engines(intact: Iterable[IntactEngine], reader: Reader) -> list[html.Li]:
    return [
        html.Li(
            [
                html.Span(each.engine_id, className="td-engine"),
                html.Span(_since(each, reader), className="secondary"),
                link("where to look", path_to("teardown", each.engine_id)),
                link(
                    "take it apart",
                    path_to("teardown", each.engine_id, show="enter"),
                    className="button",
                ),
            ]
        )
        for each in intact
    ]


def _since(engine: IntactEngine, reader: Reader) -> str:
    since = f"since {reader.day(engine.since)}" if engine.since else "since its first log"
    if not engine.runs:
        return f"no run {since}"
    runs = f"{engine.runs} run{'' if engine.runs == 1 else 's'}"
    return f"{runs}, {duration(engine.running_s)} {since}"


PAGE = Page(
    name="Teardowns", path="/teardowns", title="Teardowns", layout=layout, connect=no_callbacks
)
