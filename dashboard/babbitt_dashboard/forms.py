"""Forms that change the record: declared as values, and answered in one way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from babbitt.errors import BabbittError, RegisterError
from babbitt.model.plain_text import past_moment
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import refusal

Options = Mapping[str, Sequence[tuple[str, str]]]
"""What the choices of a form offer: value and words, by field."""

Given = Mapping[str, str]
"""What a form holds: text by field, "" where nothing was entered."""


@dataclass(frozen=True)
class Field:
    """A field of a form.

    Attributes:
        name: of the field.
        label: what stands above it.
        kind: how it is entered.
        required: whether it may stay empty.
        hint: what stands below it.
    """

    name: str
    label: str
    kind: Literal["text", "choice", "long", "day"] = "text"
    required: bool = False
    hint: str = ""


@dataclass(frozen=True)
class Form:
    """A form.

    Attributes:
        name: tells it from the others of its page.
        title: what it does, as a heading.
        fields: in their order.
        button: the word on its button.
        act: does it, and says in a sentence what was done; a `BabbittError` keeps what was typed.
    """

    name: str
    title: str
    fields: tuple[Field, ...]
    button: str
    act: Callable[[Desk, Given], str]


def show_form(form: Form, page: str, options: Options | None = None, **values: str) -> html.Details:
    """Return a form, folded until it is wanted.

    Args:
        form: to be shown.
        page: that answers it.
        options: of its choices.
        values: what stands in its fields at first.
    """
    fields = [
        _field(form.name, each, page, (options or {}).get(each.name, ()), values.get(each.name, ""))
        for each in form.fields
    ]
    button = html.Button(
        form.button, id={"type": f"{page}-do", "form": form.name}, className="strong"
    )
    return html.Details([html.Summary(form.title), html.Div([*fields, button], className="form")])


def connect_forms(
    app: Dash,
    desk: Desk,
    page: str,
    forms: Sequence[Form],
    show: Callable[[Desk, Mapping[str, Any]], Any],
) -> None:
    """Answer the forms of a page: do it, say what was done, and show the page's part anew.

    The page holds `<page>-part`, `<page>-said` and the store `<page>-state`.

    Args:
        app: the application.
        desk: the logbook.
        page: its name.
        forms: that it may show.
        show: draws `<page>-part` by what `<page>-state` holds.
    """
    by_name = {form.name: form for form in forms}

    @app.callback(
        Output(f"{page}-part", "children", allow_duplicate=True),
        Output(f"{page}-said", "children", allow_duplicate=True),
        Input({"type": f"{page}-do", "form": ALL}, "n_clicks"),
        State({"type": f"{page}-field", "form": ALL, "field": ALL}, "value"),
        State({"type": f"{page}-field", "form": ALL, "field": ALL}, "id"),
        State(f"{page}-state", "data"),
        prevent_initial_call=True,
    )
    def answer(_: Any, values: list[Any], ids: list[dict[str, str]], state: dict[str, Any]) -> Any:
        if not ctx.triggered_id or not ctx.triggered[0]["value"]:
            return no_update, no_update
        form = by_name[ctx.triggered_id["form"]]
        given = {
            each["field"]: str(value or "").strip()
            for each, value in zip(ids, values, strict=True)
            if each["form"] == form.name
        }
        done, said = carry_out(desk, form, given)
        return (show(desk, state) if done else no_update), said


def carry_out(desk: Desk, form: Form, given: Given) -> tuple[bool, Any]:
    """Do what a form asks for.

    Returns:
        Whether it was done, and the sentence that says so, or why not.
    """
    try:
        for field in form.fields:
            if field.required and not given.get(field.name):
                raise RegisterError(f"{form.title}: fill in {field.label!r}.")
        return True, html.P(form.act(desk, given), className="done")
    except BabbittError as error:
        return False, refusal(str(error))
    except ValueError as error:  # of a field that cannot be read
        return False, refusal(f"{form.title}: {error}")


def moment(desk: Desk, given: Given, name: str) -> datetime:
    """Return the past instant that a field holds.

    Raises:
        ValueError: it is none, or lies in the future.
    """
    return past_moment(given[name], name, desk.reader.timezone, desk.now())


def moment_or_none(desk: Desk, given: Given, name: str) -> datetime | None:
    """Return the past instant that a field holds; None where it is empty.

    Raises:
        ValueError: it is none, or lies in the future.
    """
    return moment(desk, given, name) if given.get(name) else None


def _field(
    form: str, field: Field, page: str, options: Sequence[tuple[str, str]], value: str
) -> html.Div:
    """Return a field; its label says where it may stay empty."""
    of = {"id": {"type": f"{page}-field", "form": form, "field": field.name}}
    label = field.label if field.required or field.kind == "choice" else f"{field.label}, if known"
    if field.kind == "choice":
        control = dmc.Select(
            **of,
            label=label,
            data=[{"value": key, "label": words} for key, words in options],
            value=value or (options[0][0] if options else None),
            searchable=True,
            allowDeselect=False,
        )
    elif field.kind == "long":
        control = dmc.Textarea(
            **of, label=label, value=value, minRows=12, maxRows=30, autosize=True, spellCheck=False
        )
    else:
        day = "like 2026-05-03 or 2026-05-03T14:30" if field.kind == "day" else None
        control = dmc.TextInput(**of, label=label, value=value, description=field.hint or day)
    return html.Div(control, className="field wide" if field.kind == "long" else "field")


def said_place(page: str) -> html.Div:
    """Return where a page says what was done, announced to readers of screens."""
    return html.Div(id=f"{page}-said", className="said", **{"aria-live": "polite"})
