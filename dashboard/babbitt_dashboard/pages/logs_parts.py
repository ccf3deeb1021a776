"""Logs: what waits, what a log holds, what went in lately, and the sensors across runs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from dash import html

from babbitt.model.records import RunRecord
from babbitt.present.remedies import remarks_of
from babbitt.present.views.logs import LogsView
from babbitt.present.views.logs_choices import title_of
from babbitt.present.views.logs_inbox import Waiting
from babbitt.present.views.logs_quality import SensorLine, SensorsView, finding
from babbitt.present.words import NOTHING, Reader, duration, number, share
from babbitt_dashboard.address import path_to
from babbitt_dashboard.marks import circuit_box, empty_state, known_circuits, link, table
from babbitt_dashboard.pages.logs_controls import does, fills, select

_KB = 1000.0


def waiting_part(view: LogsView, reader: Reader, opened: str | None) -> list[Any]:
    """Return the logs that wait, each with its engine and what a look at it found."""
    if not view.waiting:
        return []
    count = len(view.waiting)
    title = "1 log waits to be taken in" if count == 1 else f"{count} logs wait to be taken in"
    rows = [_waiting_row(each, view, reader, opened) for each in view.waiting]
    return [
        html.H2(title),
        _for_all(view) if count > 1 else None,
        html.Ul(rows, className="logs-waiting"),
        known_circuits(view.circuits),
    ]


def _for_all(view: LogsView) -> html.Div:
    return html.Div(
        [
            html.Label(
                ["engine of all ", select(_engine_options(view.engines), "")],
                **fills("engine-all", "", "engine"),
            ),
            html.Label(["circuit of all ", circuit_box("")], **fills("circuit-all", "", "circuit")),
            html.Button("Take in all that can be", className="strong", **does("take-all")),
            html.Button("Throw all away", **does("drop-all")),
            html.Span(id="logs-count", className="secondary", **{"aria-live": "polite"}),
        ],
        className="logs-line no-print",
    )


def _waiting_row(each: Waiting, view: LogsView, reader: Reader, opened: str | None) -> html.Li:
    here = each.token == opened
    name = html.Button(
        each.name,
        className="logs-name",
        **does("close" if here else "open", each.token),
        **{"aria-expanded": "true" if here else "false"},
    )
    return html.Li(
        [
            html.Div(
                [
                    name,
                    html.Span(
                        seen_words(each, reader),
                        className="logs-refused" if _is_refused(each) else "secondary",
                    ),
                ],
                className="logs-what",
            ),
            html.Label(
                ["engine ", select(_engine_options(view.engines), each.choices.engine)],
                **fills("engine", each.token),
            ),
            html.Button(
                "Take in",
                className="" if _is_refused(each) else "strong",
                **does("take", each.token),
                **{"aria-label": f"Take in {each.name}"},
            ),
            html.Button(
                "Throw away",
                **does("drop", each.token),
                **{"aria-label": f"Throw away {each.name}"},
            ),
        ],
        className="logs-row here" if here else "logs-row",
    )


def seen_words(each: Waiting, reader: Reader) -> str:
    """Say what the last look at a log found."""
    seen = each.seen
    if seen is None:
        return f"{size_words(each.size)}; not looked at yet"
    if seen.problem is not None:
        return seen.problem
    known = f"; read by the profile {seen.profile}" if seen.profile else ""
    return (
        f"Can be taken in: began {reader.instant(seen.started_at)}, lasted "
        f"{duration(seen.duration_s)}, {seen.rows:,} rows{known}"
    )


def _is_refused(each: Waiting) -> bool:
    return each.seen is not None and each.seen.problem is not None


def size_words(size: int) -> str:
    """Return a number of bytes as a person says it."""
    if size < _KB**2:
        return f"{max(1, round(size / _KB)):,} kB"
    return f"{number(size / _KB**2)} MB" if size < _KB**3 else f"{number(size / _KB**3)} GB"


def lately_part(lately: Sequence[RunRecord], reader: Reader) -> list[Any]:
    """Return what went in lately, with what was remarked."""
    rows = [
        (
            link(record.source_name, path_to("run", record.run_id)),
            record.engine_id,
            reader.instant(record.started_at) + (" ?" if record.start_basis == "file" else ""),
            _remarks(record),
            reader.instant(record.ingested_at),
            duration(record.duration_s),
        )
        for record in lately
    ]
    columns = ("log", "engine", "began", "how it was read", "taken in", "lasted")
    return [
        html.H2("Taken in lately"),
        html.Div(
            table(
                columns,
                rows,
                left=5,
                empty="No log has been taken in yet: drop some above, or choose them.",
            ),
            className="logs-lately",
        ),
    ]


def _remarks(record: RunRecord) -> Any:
    remarks = remarks_of(record)
    if not remarks:
        return html.Span("good", className="secondary")
    if len(remarks) == 1:
        return remarks[0]
    return html.Details(
        [
            html.Summary(f"{len(remarks)} remarks"),
            html.Ul([html.Li(warning) for warning in remarks]),
        ],
        className="logs-remarks",
    )


def sensors_part(view: SensorsView, reader: Reader) -> list[Any]:
    """Return how well each sensor of an engine did across its newest runs."""
    said: list[Any] = [html.P(finding(view), className="lead")]
    if not view.lines:
        said = [empty_state(finding(view))]
    else:
        since = f"{reader.day(view.starts[0])} to {reader.day(view.starts[-1])}"
        rows = [
            (
                title_of(line.channel),
                _strip(line),
                html.Span(line.words, className="logs-worse" if line.worse else ""),
                str(line.in_doubt) if line.in_doubt else NOTHING,
            )
            for line in view.lines
        ]
        heads = ("sensor", f"lost per run, {since}", "what to make of it", "runs in doubt")
        said.append(html.Div(table(heads, rows, left=3), className="logs-sensors"))
        said.append(
            html.P(
                "Lost: without a good reading, by the flags of the samples. A full bar is a tenth "
                "of the run or more; a dash, a run without the channel.",
                className="secondary small",
            )
        )
    return said + [html.P(sentence, className="refusal") for sentence in view.unreadable]


def _strip(line: SensorLine) -> html.Span:
    bars = [
        html.Span(className="none")
        if value is None
        else html.Span(style={"height": f"{1 + round(21 * min(value / 0.1, 1.0))}px"})
        for value in line.lost
    ]
    told = ", ".join("not logged" if value is None else share(value) for value in line.lost)
    said = f"lost per run, the oldest first: {told}"
    return html.Span(bars, className="logs-strip", role="img", title=said, **{"aria-label": said})


def told_part(told: Iterable[dict[str, str]]) -> html.Ul | None:
    """Return what became of the logs that were taken in from this page, the newest first."""
    lines = [
        html.Li(
            [
                html.Span(
                    link(each["name"], path_to("run", each["run"])) if each["run"] else each["name"]
                ),
                f": {each['words']}",
            ],
            className="logs-refused" if each["status"] == "refused" else None,
        )
        for each in told
    ]
    return html.Ul(lines, className="logs-told") if lines else None


def _engine_options(engines: Sequence[str]) -> list[tuple[str, str]]:
    return [("", "choose the engine"), *((name, name) for name in engines)]
