"""Logs: those that were refused and do not wait here, and those that were set aside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from babbitt.present.views.logs import LogsView
from babbitt.present.views.logs_refused import settling_command, why_refused
from babbitt.present.words import Reader
from babbitt.register.records.refusals import Refusal
from babbitt_dashboard.pages.logs_controls import does


def refused_part(view: LogsView, reader: Reader) -> list[Any]:
    """Return the refused logs, each with why, what settles it, and a button to set it aside."""
    waiting = {each.sha256 for each in view.waiting}
    every = [each for each in view.refused if each.set_aside_at is None]
    left = [each for each in every if each.sha256 not in waiting]
    aside = [each for each in view.refused if each.set_aside_at is not None]
    shown: list[Any] = []
    if left:
        shown += [html.H2(_refused_words(len(left), beside=len(every) - len(left)))]
        if len(left) > 1:
            button = html.Button("Set all aside", **does("set-all-aside"))
            shown += [html.Div(button, className="logs-line no-print")]
        shown += [_rows(left, reader, "Set aside", "set-aside")]
    if aside:
        rows = _rows(aside, reader, "Take up again", "take-up")
        shown += [html.Details([html.Summary(_aside_words(len(aside))), rows])]
    return shown


def _refused_words(count: int, *, beside: int) -> str:
    """Say how many logs were refused, beside those that wait."""
    more = " more" if beside else ""
    return f"1{more} log was refused" if count == 1 else f"{count:,}{more} logs were refused"


def _aside_words(count: int) -> str:
    return "1 refused log set aside" if count == 1 else f"{count:,} refused logs set aside"


def _rows(found: Sequence[Refusal], reader: Reader, words: str, do: str) -> html.Ul:
    return html.Ul([_row(each, reader, words, do) for each in found], className="logs-list")


def _row(each: Refusal, reader: Reader, words: str, do: str) -> html.Li:
    said = html.Div(
        [
            html.Strong(each.file),
            html.Span(why_refused(each), className="" if each.set_aside_at else "logs-refused"),
            html.Span(
                [f"For {each.engine_id}, refused {reader.instant(each.at)}. ", *_way(each)],
                className="secondary",
            ),
        ],
        className="logs-what",
    )
    button = html.Button(words, **does(do, each.sha256), **{"aria-label": f"{words}: {each.file}"})
    return html.Li([said, button], className="logs-row")


def _way(each: Refusal) -> list[Any]:
    """Say how a refused log that does not wait here can be settled."""
    command = settling_command(each)
    if command is None:
        return []
    return ["Drop it above to settle that here, or: ", html.Code(command)]
