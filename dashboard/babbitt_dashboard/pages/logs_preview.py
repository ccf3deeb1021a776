"""Logs: what a log that waits holds, and the controls that say it better."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from babbitt.ingest.preview import ColumnView, LogPreview
from babbitt.logbook.settings import DATE, TIME
from babbitt.model.channels import channels
from babbitt.model.units import units_of
from babbitt.present.views.logs import Preview
from babbitt.present.views.logs_choices import DATE_ORDERS, OVERLAPS, Answer, Choices, title_of
from babbitt.present.words import NOTHING, Reader, duration, number, share
from babbitt_dashboard.marks import circuit_box, table
from babbitt_dashboard.pages.logs_controls import does, fills, select


def preview_part(shown: Preview, reader: Reader) -> list[Any]:
    """Return what would be read from a log, with the controls that say it better."""
    waiting, found = shown.waiting, shown.found
    token = waiting.token
    said: list[Any] = [html.H2(waiting.name), html.P(_headline(shown, reader), className="lead")]
    said += [html.P(problem, className="refusal") for problem in shown.problems]
    if shown.answers:
        said.append(_answers(token, shown.answers))
    said.append(_where(token, found, waiting.choices))
    if found is None:
        return [*said, _more(shown, reader)]
    return [
        *said,
        *(html.P(warning) for warning in found.warnings),
        html.H3("Its columns"),
        _columns(token, found, waiting.choices),
        _more(shown, reader),
        _keep(token, waiting.choices),
    ]


def _where(token: str, found: LogPreview | None, choices: Choices) -> html.Div:
    """Return the field for where the log was recorded; what the log names stands in it in pale."""
    noted = found.circuit.name if found is not None and found.circuit is not None else ""
    box = circuit_box(choices.circuit, noted or "circuit, if known")
    label = html.Label(["recorded at ", box], **fills("circuit", token))
    return html.Div(label, className="logs-line no-print")


def _headline(shown: Preview, reader: Reader) -> str:
    found = shown.found
    if found is None:
        return "It cannot be read as it is."
    began = (
        f"began {reader.instant(found.started_at)}" if found.started_at else "its start is unknown"
    )
    if found.start_basis == "file":
        began += " by the date of the file"
    lasted = f", lasted {duration(found.duration_s)}" if found.duration_s is not None else ""
    verdict = "It would be refused" if shown.problems else "It can be taken in"
    return f"{verdict}: {found.rows:,} rows, {began}{lasted}."


def _answers(token: str, answers: Sequence[Answer]) -> html.Div:
    return html.Div(
        [
            html.Button(answer.words, **does("choose", token, dict(answer.change)))
            for answer in answers
        ],
        className="logs-line no-print",
        role="group",
        **{"aria-label": "What settles it"},
    )


def _columns(token: str, found: LogPreview, choices: Choices) -> html.Div:
    heads = ("column", "channel", "unit", "known by", "lowest", "course", "highest", "Hz", "remark")
    rows = [_column_row(token, column, choices) for column in found.columns]
    return html.Div(table(heads, rows, left=4), className="logs-columns")


def _column_row(token: str, column: ColumnView, choices: Choices) -> tuple[Any, ...]:
    chosen = column.name if column.known else ""
    own = "" if column.known else f" ({column.name})"
    options = [("", f"its own name{own}"), (TIME, TIME), (DATE, DATE)]
    options += [(name, channel.title) for name, channel in channels().items()]
    header = column.header or "(row numbers)"
    choice = html.Div(
        select(options, chosen, label=f"Channel of {header}"),
        **fills("columns", token, column.header),
    )
    missing = f"{share(column.share_missing)} missing" if column.share_missing >= 0.005 else ""
    return (
        html.Span(header, className="logs-header"),
        choice if column.header else column.name,
        _unit(token, column),
        _known_by(column, choices),
        NOTHING if column.low is None else number(column.low),
        _course(column, header),
        NOTHING if column.high is None else number(column.high),
        NOTHING if column.rate_hz is None else number(column.rate_hz),
        html.Span("; ".join(part for part in (missing, column.remark) if part)),
    )


def _unit(token: str, column: ColumnView) -> Any:
    if not column.known or column.name == DATE:
        return column.unit or NOTHING
    dimension = TIME if column.name == TIME else channels()[column.name].unit.dimension
    symbols = [unit.symbol for unit in units_of(dimension)]
    likely = [symbol for symbol in column.plausible if symbol in symbols]
    ordered = [*likely, *(symbol for symbol in symbols if symbol not in likely)]
    known = column.unit if column.unit_basis else ""
    if known and known not in ordered:
        ordered.insert(0, known)
    options = [] if known else [("", "choose")]
    options += [(symbol, symbol) for symbol in ordered]
    choice = select(options, known, label=f"Unit of {title_of(column.name)}")
    return html.Div(choice, **fills("units", token, column.name))


def _known_by(column: ColumnView, choices: Choices) -> str:
    if column.header in choices.columns or column.name in choices.units:
        return "you"
    if column.unit_basis == "profile" or column.given:
        return "profile"
    return column.unit_basis or NOTHING


def _course(column: ColumnView, header: str) -> Any:
    values = [value for value in column.trace if value is not None]
    if not values:
        return NOTHING
    low, span = min(values), (max(values) - min(values)) or 1.0
    bars = [
        html.Span(
            style={"height": "0"} if v is None else {"height": f"{2 + 20 * (v - low) / span:.0f}px"}
        )
        for v in column.trace
    ]
    said = f"{header} over the log, from {number(values[0])} to {number(values[-1])}"
    return html.Span(bars, className="logs-course", role="img", **{"aria-label": said})


def _more(shown: Preview, reader: Reader) -> html.Details:
    token, choices = shown.waiting.token, shown.waiting.choices
    stated = shown.found.dialect if shown.found else ()
    sentences = (*shown.problems, *(shown.found.warnings if shown.found else ()))
    controls = [
        _field(
            "profile",
            token,
            [("", "the one that knows it"), *((n, n) for n in shown.profiles)],
            choices.profile,
        ),
        _field("dates", token, [("", "as the log has them"), *DATE_ORDERS.items()], choices.dates),
        _field(
            "lateral_positive",
            token,
            [("", "as the profile says, else left"), ("left", "left"), ("right", "right")],
            choices.lateral_positive,
        ),
        _field("overlap", token, list(OVERLAPS.items()), choices.overlap),
        _box("started", token, choices.started, "like 2026-05-03T14:30"),
        _box("timezone", token, choices.timezone, "like Europe/Paris"),
    ]
    return html.Details(
        [
            html.Summary("How it is read, and what may be said of it"),
            html.Ul([html.Li(line) for line in stated], className="logs-why"),
            html.Div(controls, className="logs-fields"),
        ],
        open=any(flag in sentence for flag in _FIELDS_OF for sentence in sentences),
    )


_LABELS = {
    "profile": "logger profile (--profile)",
    "dates": "dates are written (--dates)",
    "lateral_positive": "lateral g is positive in corners to the",
    "overlap": "if it overlaps another run (--overlap)",
    "started": "began at, if the log does not say (--started)",
    "timezone": "time zone of its clock, if not the logbook's",
}
_FIELDS_OF = ("--profile", "--dates", "--overlap", "--started")
"""Options that a sentence may name, and the fields below it answer."""


def _field(name: str, token: str, options: Sequence[tuple[str, str]], value: str) -> html.Label:
    return html.Label([_LABELS[name], select(options, value)], **fills(name, token))


def _box(name: str, token: str, value: str, hint: str) -> html.Label:
    control = dcc.Input(
        value=value, type="text", placeholder=hint, debounce=True, autoComplete="off"
    )
    return html.Label([_LABELS[name], control], **fills(name, token))


def _keep(token: str, choices: Choices) -> html.Details:
    said = choices.columns or choices.units or choices.dates or choices.timezone
    return html.Details(
        [
            html.Summary("Keep this for every log of the kind"),
            html.P(
                "A profile keeps what was said of columns, units, dates and the clock, and knows "
                "logs with the same columns again, whatever their name."
            ),
            html.Div(
                [
                    html.Label(
                        ["name of the profile", dcc.Input(type="text", autoComplete="off")],
                        className="logs-profile-name",
                    ),
                    html.Button("Keep the profile", **does("keep-profile", token)),
                ],
                className="logs-line",
            ),
        ],
        open=bool(said or choices.lateral_positive),
        className="no-print",
    )
