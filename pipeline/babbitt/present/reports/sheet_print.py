"""The teardown sheet on paper: plain text of 80 columns, or a page of HTML."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from importlib import resources
from typing import Any

from jinja2 import Environment, StrictUndefined, select_autoescape

from babbitt.model.damage_modes import grades
from babbitt.present.blame_words import blame_in_words
from babbitt.present.words import CAUTION, NOTHING, Reader, share
from babbitt.teardown.sheet import IN_FULL, Item, Sheet

_WIDTH = 80
_INDENT = " " * 4
_TICK = "Tick what is sound; else write the grade: {grades}."


def sheet_text(sheet: Sheet, reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return a sheet as plain text.

    Args:
        sheet: the sheet.
        reader: whose units and time zone are used.
        rpm_at: engine speed at the peak of events, see `blame_in_words`.
    """
    seen = sheet_in_words(sheet, reader, rpm_at)
    lines = [f"{seen['title']}{seen['at']:>{_WIDTH - len(seen['title'])}}"]
    lines += textwrap.wrap(seen["basis"], _WIDTH)
    lines += textwrap.wrap(seen["tick"], _WIDTH)
    for item in seen["items"]:
        head = f"{item['number']:>2}  {item['title']}"
        lines += ["", f"{head}{item['chance']:>{_WIDTH - len(head)}}"]
        for remark in item["remarks"]:
            lines += _hanging(remark, "")
        lines += _hanging("  ".join(f"{place} [ ]".strip() for place in item["places"]), "")
        for mode in item["modes"]:
            lines += _hanging(mode["look_for"], f"{mode['title']}: ")
        for measure in item["measures"]:
            blanks = "  ".join(f"{place} ______".strip() for place in item["places"])
            lines += _hanging(blanks, f"{measure}: ")
    if seen["others"]:
        lines += ["", "Less likely; look at them all the same:"]
        for item in seen["others"]:
            places = "  ".join(f"{place} [ ]".strip() for place in item["places"])
            head = f"{item['number']:>2}  {item['title']:<22} {places}"
            lines.append(f"{head}{item['chance']:>{_WIDTH - len(head)}}")
    lines += ["", *textwrap.wrap(CAUTION, _WIDTH)]
    return "\n".join(lines) + "\n"


def sheet_html(sheet: Sheet, reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return a sheet as one page of HTML that needs nothing else; see `sheet_text`."""
    template = resources.files("babbitt.present.reports").joinpath("sheet.html.jinja")
    environment = Environment(
        autoescape=select_autoescape(default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = environment.from_string(template.read_text(encoding="utf-8"))
    return page.render(**sheet_in_words(sheet, reader, rpm_at), caution=CAUTION)


def sheet_in_words(sheet: Sheet, reader: Reader, rpm_at: Mapping[str, float]) -> dict[str, Any]:
    """Return a sheet in words, as its templates take them; see `sheet_text`."""
    scale = ", ".join(f"{grade.value} {grade.title}" for grade in grades())
    items = [
        _item(number, item, reader, rpm_at) for number, item in enumerate(sheet.items, start=1)
    ]
    since = f"since {reader.day(sheet.since)}" if sheet.since else "since its first log"
    return {
        "title": f"Teardown sheet: {sheet.engine_id}",
        "at": reader.day(sheet.at),
        "basis": (
            f"What it went through {since}, and {sheet.teardowns} teardowns of its type: the "
            "chance that a part is worn or worse, with its 90 % interval; the likeliest first."
        ),
        "tick": _TICK.format(grades=scale),
        "items": items[:IN_FULL],
        "others": items[IN_FULL:],
    }


def _item(number: int, item: Item, reader: Reader, rpm_at: Mapping[str, float]) -> dict[str, Any]:
    likely = item.chance
    remarks = []
    if item.blame is not None:
        words = blame_in_words(item.blame, reader, rpm_at)
        remarks.append(f"If damaged, {share(item.blame.share.p)} by: {words}.")
    if item.found_before:
        finds = ", ".join(f"{count} at {place}" for place, count in item.found_before.items())
        remarks.append(f"Found damaged before: {finds}.")
    for mode, grade in item.went_back.items():
        remarks.append(f"Found {item.part.modes[mode].title}, grade {grade}, and still in.")
    return {
        "number": number,
        "title": item.part.title,
        "chance": f"{share(likely.p)} ({share(likely.low)} to {share(likely.high)})"
        if likely
        else f"{NOTHING} (no life dose in the spec)",
        "remarks": remarks,
        "places": item.positions,
        "modes": [{"title": mode.title, "look_for": mode.look_for} for mode in item.modes],
        "measures": [f"{m.name} ({m.unit})" for m in item.part.measurements],
    }


def _hanging(text: str, head: str) -> list[str]:
    return textwrap.wrap(head + text, _WIDTH, initial_indent=_INDENT, subsequent_indent=2 * _INDENT)
