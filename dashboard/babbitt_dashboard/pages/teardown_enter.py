"""During a teardown: the engine drawn, what is entered so far, and what records it."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

from dash import html

from babbitt.model.damage_modes import part_named
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.plain_text import capital
from babbitt.model.positions import spots_of
from babbitt.present.figures.ink import Ink
from babbitt.present.figures.section import Place, draw_section
from babbitt.present.views.teardown_draft import EVERY, Draft, check, entry_words
from babbitt_dashboard.pages.teardown_form import box, does, field, layout_of, spot_text


def worst_grades(draft: Draft, layout: EngineLayout) -> dict[tuple[str, str], int]:
    """Return the highest grade entered at each part, those entered for every one spread out."""
    found: dict[tuple[str, str], int] = {}
    for entry in draft.entries:
        if entry.grade is None:
            continue
        every = entry.position == EVERY
        for position in spots_of(entry.part, layout) if every else (entry.position,):
            spot = entry.part, position
            found[spot] = max(entry.grade, found.get(spot, 0))
    return found


def picture(
    bench: Mapping[str, Any], draft: Draft, chosen: tuple[str, str], ink: Ink
) -> tuple[str, list[Any]]:
    """Return the drawn engine as the address of an image, and a button for each part of it."""
    layout = layout_of(bench)
    found = worst_grades(draft, layout)
    section = draw_section(
        layout,
        ink,
        found=found,
        likely=frozenset(tuple(spot) for spot in bench["likely"]),
        chosen=chosen,
    )
    encoded = base64.b64encode(section.svg.encode()).decode()
    focus = chosen if chosen[0] else (section.places[0].part, section.places[0].position)
    buttons = [
        _part_button(place, section.width, section.height, found, chosen, focus)
        for place in section.places
    ]
    return f"data:image/svg+xml;base64,{encoded}", buttons


def _part_button(
    place: Place,
    width: int,
    height: int,
    found: Mapping[tuple[str, str], int],
    chosen: tuple[str, str],
    focus: tuple[str, str],
) -> html.Button:
    spot = place.part, place.position
    name = f"{part_named(place.part).title} {place.position}".strip()
    said = f"{name}, grade {found[spot]}" if spot in found else name
    return html.Button(
        className="td-spot",
        title=said,
        tabIndex=0 if spot == focus else -1,
        style={
            "left": f"{100 * place.x / width:.3f}%",
            "top": f"{100 * place.y / height:.3f}%",
            "width": f"{100 * place.width / width:.3f}%",
            "height": f"{100 * place.height / height:.3f}%",
        },
        **{
            "aria-label": said,
            "aria-pressed": "true" if spot == chosen else "false",
            **does("choose", spot_text(*spot)),
        },
    )


def entered(draft: Draft) -> list[Any]:
    """Return what is entered so far, with what is missing of each."""
    faults = check(draft).faults
    count = len(draft.entries)
    title = html.H2(f"{count or 'No'} finding{'' if count == 1 else 's'} entered")
    return [title, *(_rows(draft, faults) if count else [])]


def recording(bench: Mapping[str, Any], draft: Draft) -> html.Div:
    """Return what records the draft: a teardown, findings added to one, or a correction."""
    if bench["finding"] is not None:
        return _record_correction(draft)
    return _record(bench, draft)


def _rows(draft: Draft, faults: Mapping[int, str]) -> list[Any]:
    return [
        html.Ul(
            [
                html.Li(
                    [
                        html.Button(
                            [
                                html.B(capital(entry.where)),
                                f" {entry_words(entry)}",
                                *([f"; {entry.measured} {entry.value}"] if entry.value else []),
                                *([f"; {len(entry.photos)} photo"] if entry.photos else []),
                            ],
                            className="td-entry",
                            **does("open", entry.n),
                        ),
                        *(
                            [html.Span(faults[entry.n], className="refusal small")]
                            if entry.n in faults
                            else []
                        ),
                    ]
                )
                for entry in draft.entries
            ],
            className="td-entries",
        )
    ]


def _record(bench: Mapping[str, Any], draft: Draft) -> html.Div:
    new = bench["teardown"] is None
    words = "record the teardown" if new else "add them to the teardown"
    return html.Div(
        [
            *(_when(bench, draft) if new else []),
            html.Button(words, className="strong", **does("record")),
            html.Button("start over", **does("discard")),
            html.P(
                "The draft stays in this browser until it is recorded.",
                className="small secondary",
            ),
        ],
        className="td-record",
    )


def _when(bench: Mapping[str, Any], draft: Draft) -> list[Any]:
    earlier = html.Button(
        "before the newest refresh",
        className="td-choice",
        **{"aria-pressed": "true" if draft.earlier else "false"},
        **does("earlier"),
    )
    return [
        html.Div(
            [
                field("day", "taken apart on (year-month-day)", box(draft.day or bench["day"])),
                field("hour", "at (hour:minute)", box(draft.hour or bench["hour"])),
                field("teardown_note", "how much, and why", box(draft.note), wide=True),
                earlier,
            ],
            className="td-fields",
        )
    ]


def _record_correction(draft: Draft) -> html.Div:
    return html.Div(
        [
            field("reason", "why: the journal keeps it", box(draft.reason), wide=True),
            html.Button("write the correction", className="strong", **does("record")),
            html.Button("withdraw the finding", **does("withdraw")),
        ],
        className="td-record",
    )
