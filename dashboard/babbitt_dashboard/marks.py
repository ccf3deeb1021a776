"""The marks that pages are made of: calls, bars of used life, tables, sentences."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from dash import dcc, html

from babbitt.present.words import CAUTION, share

_CIRCUITS = "known-circuits"
_FILL = {"run on": "open", "inspect": "half", "pull": "solid"}


def call_mark(call: str) -> html.Span:
    """Return a call by the fill of its ring, with its word."""
    ring = html.Span(className=f"ring {_FILL[call]}", **{"aria-hidden": "true"})
    return html.Span([ring, html.Span(call, className="call-word")], className="call")


def life_bar(title: str, used: float | None, ahead: float | None = None) -> html.Span:
    """Return a bar of the share of a life dose that is used.

    Args:
        title: what the dose is of.
        used: share of the dose, 1 is all of it; None: not known.
        ahead: share that the next outing would add.
    """
    said = f"{title}: {share(used) if used is not None else 'not known'} of the life dose used"
    if used is not None and ahead:
        said += f", the next outing would add {share(ahead)}"
    now = min(used or 0.0, 1.0)
    more = min(ahead or 0.0, 1.0 - now)
    over = used is not None and used >= 1.0
    return html.Span(
        [
            html.Span(className="bar-now", style={"width": f"{100 * now:.1f}%"}),
            html.Span(className="bar-next", style={"width": f"{100 * more:.1f}%"}),
        ],
        className="life-bar over" if over else "life-bar",
        role="img",
        title=said,
        **{"aria-label": said},
    )


def table(
    columns: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    caption: str = "",
    left: int = 1,
    empty: str = "",
) -> html.Div:
    """Return a small table that reads and prints well.

    Args:
        columns: heads, with the unit once.
        rows: cells, as text or components.
        caption: what it shows; read aloud, and seen.
        left: so many columns are set left, the others right with tabular figures.
        empty: sentence that stands instead of a table without rows.
    """
    body = [
        html.Tr([_cell(html.Td, value, at >= left) for at, value in enumerate(row)]) for row in rows
    ]
    if not body and empty:
        return html.Div(empty_state(empty), className="table-wrap")
    head = html.Thead(
        html.Tr([_cell(html.Th, name, at >= left, scope="col") for at, name in enumerate(columns)])
    )
    made = [html.Caption(caption)] if caption else []
    return html.Div(html.Table([*made, head, html.Tbody(body)]), className="table-wrap")


def _cell(kind: Any, value: Any, right: bool, **more: Any) -> Any:
    return kind(value, className="right" if right else None, **more)


def empty_state(sentence: str, *more: Any) -> html.P:
    """Return what stands where there is nothing yet: why, and what to do next."""
    return html.P([sentence, *more], className="empty")


def refusal(sentence: str) -> html.P:
    """Return what went wrong, in one sentence, announced to readers of screens."""
    return html.P(sentence, className="refusal", role="alert")


def caution() -> html.P:
    """Return the caution that stands wherever a call is shown."""
    return html.P(CAUTION, className="caution")


def link(words: Any, href: str, **more: Any) -> dcc.Link:
    """Return a link within the dashboard."""
    return dcc.Link(words, href=href, **more)


def circuit_box(value: str, hint: str = "", **more: Any) -> dcc.Input:
    """Return a field for a circuit, which offers those of `known_circuits`."""
    return dcc.Input(
        value=value,
        type="text",
        placeholder=hint,
        debounce=True,
        autoComplete="off",
        list=_CIRCUITS,
        **more,
    )


def known_circuits(names: Iterable[str]) -> html.Datalist:
    """Return the circuits that are offered; they stand once on a page."""
    return html.Datalist([html.Option(value=name) for name in names], id=_CIRCUITS)


def print_button(href: str, **more: Any) -> html.A:
    """Return the button to a page's report, which opens beside it."""
    return html.A("Page to print", href=href, target="_blank", className="button no-print", **more)


def graph(figure: Any, name: str, *, graph_id: Any = None, **more: Any) -> html.Figure:
    """Return a figure with its name for readers of screens, and no bar of tools.

    Args:
        figure: of Plotly.
        name: what it shows, in a sentence.
        graph_id: of the graph, where callbacks need it.
        more: for `dcc.Graph`.
    """
    config = {"displayModeBar": False, "scrollZoom": False, "responsive": True}
    config |= more.pop("config", {})
    named = {"id": graph_id} if graph_id is not None else {}
    return html.Figure(
        [
            html.Div(
                dcc.Graph(figure=figure, config=config, **named, **more),
                role="img",
                **{"aria-label": name},
            ),
        ]
    )
