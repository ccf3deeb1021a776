"""Before a teardown: the sheet, where to look first, for what, and what to measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html

from babbitt.model.plain_text import capital
from babbitt_dashboard.marks import caution


def sheet(words: Mapping[str, Any]) -> list[Any]:
    """Return a teardown sheet, as `sheet_in_words` words it."""
    return [
        html.P(_finding(words), className="lead"),
        html.P(f"As of {words['at']}. {words['basis']}", className="secondary"),
        html.P(words["tick"], className="secondary"),
        html.Button("print the sheet", className="td-print", **{"data-print": "1"}),
        html.Ol([_item(item) for item in words["items"]], className="td-sheet"),
        *_others(words),
        caution(),
    ]


def _finding(words: Mapping[str, Any]) -> str:
    judged = [item for item in words["items"] if item["remarks"]]
    if not judged:
        return "Nothing can be told yet: look at everything, in any order."
    first = judged[0]
    return f"Look at the {first['title']} first: {first['chance']} likely to be worn or worse."


def _item(item: Mapping[str, Any]) -> html.Li:
    return html.Li(
        [
            html.Div(
                [
                    html.H2(capital(item["title"])),
                    html.Span(item["chance"], className="td-chance"),
                ],
                className="td-item-head",
            ),
            *(html.P(remark) for remark in item["remarks"]),
            html.P([_place(place, "td-box") for place in item["places"]], className="td-places"),
            html.Dl(
                [
                    part
                    for mode in item["modes"]
                    for part in (html.Dt(mode["title"]), html.Dd(mode["look_for"]))
                ]
            ),
            *(
                html.P(
                    [
                        html.Span(f"{measure}:", className="td-measure"),
                        *(_place(place, "td-blank") for place in item["places"]),
                    ],
                    className="td-places",
                )
                for measure in item["measures"]
            ),
        ],
        value=item["number"],
    )


def _others(words: Mapping[str, Any]) -> list[Any]:
    if not words["others"]:
        return []
    return [
        html.H2("Less likely; look at them all the same"),
        html.Ol(
            [
                html.Li(
                    html.Div(
                        [
                            html.Span(capital(item["title"]), className="td-other"),
                            html.Span(
                                [_place(place, "td-box") for place in item["places"]],
                                className="td-places",
                            ),
                            html.Span(item["chance"], className="td-chance"),
                        ],
                        className="td-item-head",
                    ),
                    value=item["number"],
                )
                for item in words["others"]
            ],
            className="td-sheet short",
        ),
    ]


def _place(position: str, kind: str) -> html.Span:
    """Return a position with a box to tick, or a line to write on; for paper."""
    mark = html.Span(className=kind, **{"aria-hidden": "true"})
    return html.Span([position, mark] if position else [mark], className="td-place")
