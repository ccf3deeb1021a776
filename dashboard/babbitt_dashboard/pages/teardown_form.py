"""During a teardown: the form that a chosen part is judged with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from babbitt.model.damage_modes import grades, part_named
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.plain_text import capital
from babbitt.present.views.teardown_draft import (
    EVERY,
    Draft,
    Entry,
    entry_words,
    positions_to_enter,
)
from babbitt.teardown.photos import MAX_BYTES

DISPOSITIONS = ("reuse", "rework", "replace", "send_out")


def does(do: str, to: object = "") -> dict[str, str]:
    """Return the attributes of a button that does something; teardown.js hands it on."""
    return {"data-do": do, "data-to": str(to)}


def field(
    name: str, words: str, control: Any, *, entry: int = -1, wide: bool = False
) -> html.Label:
    """Return a control with its label.

    Args:
        name: of the field that it fills.
        words: of the label.
        control: the control.
        entry: number of the entry that the field is of; 0: one not begun; -1: the teardown.
        wide: for sentences.
    """
    return html.Label(
        [words, control],
        className="td-field wide" if wide else "td-field",
        **{"data-field": name, "data-entry": str(entry)},
    )


def box(value: str, *, number: bool = False) -> dcc.Input:
    """Return a box to type in."""
    return dcc.Input(
        value=value,
        type="text",
        inputMode="decimal" if number else "text",
        debounce=True,
        autoComplete="off",
    )


def spot_text(part: str, position: str) -> str:
    """Return a part and position as the `to` of a button."""
    return f"{part}|{position}"


def form(bench: Mapping[str, Any], draft: Draft, chosen: tuple[str, str], n: int) -> list[Any]:
    """Return the form of the chosen part, or what to do where none is.

    Args:
        bench: the engine.
        draft: what is entered.
        chosen: kind of part and position; "" where none is.
        n: number of the entry; 0: none is begun.
    """
    if not chosen[0]:
        return [
            html.H2("Choose a part"),
            html.P(
                "Point at it in the drawing, or move there with the arrow keys. Then 0 to 4 grade "
                "it; j and k go on to the next and back in the order of the sheet; a photo may be "
                "dropped on the part. Tinted: where the sheet says to look first."
            ),
        ]
    part, position = chosen
    entries = draft.entries_at(part, position)
    entry = next((e for e in entries if e.n == n), None) or Entry(n=0, part=part, position=position)
    correcting = bench["finding"] is not None
    return [
        html.H2(capital(entry.where)),
        *([] if correcting else [_positions(bench, draft, part, position)]),
        *([] if correcting or not entries else [_entries(entries, entry)]),
        _grades(entry),
        _modes(entry),
        *_measurement(entry),
        _dispositions(entry),
        field("note", "note", dcc.Textarea(value=entry.note, rows=2), entry=entry.n, wide=True),
        *([] if correcting else [_photos(entry), _steps(chosen, entry)]),
    ]


def layout_of(bench: Mapping[str, Any]) -> EngineLayout:
    """Layout of the engine that is taken apart."""
    name, cylinders = bench["layout"]
    return EngineLayout(name, cylinders)


_COUNTED = {
    "cylinder": "cylinder",
    "crankpin": "crankpin",
    "main": "main journal",
    "bank": "bank",
    "turbo_end": "end",
}
"""What the positions of a kind of part count."""


def _positions(bench: Mapping[str, Any], draft: Draft, part: str, position: str) -> Any:
    places = positions_to_enter(part, layout_of(bench))
    if len(places) < 2:
        return None
    return _group(
        _COUNTED[part_named(part).position],
        [
            _choice(
                f"{each}•" if draft.entries_at(part, each) else each,
                does("at", spot_text(part, each)),
                each == position,
                said=f"{each}, entered" if draft.entries_at(part, each) else each,
            )
            for each in places
        ],
    )


def _entries(entries: Sequence[Entry], entry: Entry) -> html.Div:
    choices = [
        _choice(entry_words(each), does("entry", each.n), each.n == entry.n) for each in entries
    ]
    choices.append(_choice("another damage", does("another"), entry.n == 0))
    return _group("finding", choices)


def _grades(entry: Entry) -> html.Div:
    return _group(
        "grade",
        [
            _choice(
                [html.B(str(grade.value)), html.Span(grade.title)],
                does("grade", grade.value),
                entry.grade == grade.value,
                title=grade.meaning,
                said=f"{grade.value} {grade.title}",
                kind="td-choice grade",
            )
            for grade in grades()
        ],
    )


def _modes(entry: Entry) -> html.Div:
    modes = part_named(entry.part).modes
    told = [modes[entry.mode]] if entry.mode else list(modes.values())
    missing = bool(entry.grade) and not entry.mode
    words = [
        html.P([html.B(f"{mode.title}: "), mode.look_for], className="small secondary")
        for mode in told
    ]
    choices = [
        _choice(mode.title, does("mode", mode.name), entry.mode == mode.name)
        for mode in modes.values()
    ]
    name = "damage: choose which" if missing else "damage"
    return html.Div([_group(name, choices), *words])


def _measurement(entry: Entry) -> list[Any]:
    known = part_named(entry.part).measurements
    names = [each.name for each in known]
    if entry.measured and entry.measured not in names:
        names.append(entry.measured)
    if not names:
        return []
    units = {each.name: each.unit for each in known}
    unit = units.get(entry.measured, "")
    choices = [
        _choice(f"{name} ({units[name]})" if name in units else name, does("measured", name), on)
        for name in names
        for on in [name == entry.measured]
    ]
    boxes = [
        field(name, words, box(getattr(entry, name), number=True), entry=entry.n)
        for name, words in (
            ("value", f"measured{f', {unit}' if unit else ''}"),
            ("low", "at least"),
            ("high", "at most"),
        )
    ]
    return [_group("measurement", choices), html.Div(boxes, className="td-fields")]


def _dispositions(entry: Entry) -> html.Div:
    return _group(
        "then",
        [
            _choice(each.replace("_", " "), does("then", each), entry.disposition == each)
            for each in DISPOSITIONS
        ],
    )


def _photos(entry: Entry) -> html.Div:
    shown = [
        html.Figure(
            [
                html.Img(src=photo.thumbnail, alt=f"Photo {photo.taken_as}"),
                html.Button("take out", className="small", **does("unphoto", photo.name)),
            ]
        )
        for photo in entry.photos
    ]
    return html.Div(
        [
            *shown,
            html.Button("choose photos", **{"data-pick": "photos"}),
            dcc.Upload(
                "or drop them here",
                id={"type": "teardown-photos", "n": entry.n},
                accept="image/jpeg,image/png",
                multiple=True,
                max_size=MAX_BYTES,
                disable_click=True,
                className="td-drop",
                className_active="td-drop over",
                className_reject="td-drop over",
            ),
        ],
        className="td-photos",
    )


def _steps(chosen: tuple[str, str], entry: Entry) -> html.Div:
    buttons = [
        html.Button("back (k)", **does("step", "back"), **{"data-key": "k"}),
        html.Button("next (j)", **does("step", "next"), **{"data-key": "j"}),
    ]
    if entry.position not in ("", EVERY):
        buttons.append(html.Button("the others are sound", **does("others")))
    if entry.n:
        buttons.append(html.Button("take this finding out", **does("remove", entry.n)))
    return html.Div(buttons, className="td-steps")


def _choice(
    words: Any,
    act: dict[str, str],
    on: bool,
    *,
    title: str | None = None,
    said: str | None = None,
    kind: str = "td-choice",
) -> html.Button:
    spoken = {"aria-label": said} if said else {}
    key = {"data-key": act["data-to"]} if act["data-do"] == "grade" else {}
    return html.Button(
        words,
        className=kind,
        title=title,
        **{"aria-pressed": "true" if on else "false"},
        **act,
        **spoken,
        **key,
    )


def _group(name: str, choices: list[Any]) -> html.Div:
    return html.Div(
        [html.Span(name, className="td-group-name"), *choices],
        className="td-group",
        role="group",
        **{"aria-label": name},
    )
