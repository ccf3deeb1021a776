"""The frame, the marks and the addresses that all pages share."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt_dashboard.address import number_from, path_to, seconds_from
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import call_mark, life_bar, table
from babbitt_dashboard.page import Page, no_callbacks
from babbitt_dashboard.shell import framed


def text_of(component: Any) -> str:
    return json.dumps(component.to_plotly_json(), default=lambda each: each.to_plotly_json())


def test_an_address_holds_its_state_and_leaves_out_what_is_empty() -> None:
    assert path_to("engine", "NB 01/a", runs=3, at=None, q="") == "/engine/NB%2001%2Fa?runs=3"
    assert path_to("runs") == "/runs"


@pytest.mark.parametrize(
    ("text", "number"), [("7", 7), ("0", 1), ("99", 20), ("x", 2), (None, 2), ("", 2), ("1e3", 2)]
)
def test_a_number_in_an_address_is_kept_within_bounds(text: str | None, number: int) -> None:
    assert number_from(text, 2, low=1, high=20) == number


@pytest.mark.parametrize(("call", "fill"), [("run on", "open"), ("inspect", "half")])
def test_a_call_is_told_by_fill_and_word(call: str, fill: str) -> None:
    shown = text_of(call_mark(call))
    assert f"ring {fill}" in shown
    assert call in shown


@pytest.mark.parametrize(
    ("used", "ahead", "widths", "said"),
    [
        (0.25, 0.1, ("25.0%", "10.0%"), "25 % of the life dose used, the next outing would add"),
        (0.95, 0.2, ("95.0%", "5.0%"), "95 %"),
        (1.4, 0.2, ("100.0%", "0.0%"), "140 %"),
        (None, None, ("0.0%", "0.0%"), "not known of the life dose used"),
    ],
)
def test_a_life_bar_ends_at_its_limit_and_says_its_number(
    used: float | None, ahead: float | None, widths: tuple[str, str], said: str
) -> None:
    bar = life_bar("oil starvation", used, ahead)
    assert tuple(part.style["width"] for part in bar.children) == widths
    assert said in bar.title


def test_a_table_without_rows_says_what_to_do() -> None:
    shown = text_of(table(["engine"], [], empty="No engines yet: add one."))
    assert "No engines yet" in shown


def test_what_a_page_refuses_stands_on_it_as_one_sentence(tmp_path: Path) -> None:
    def layout(_desk: Desk, **_parts: str) -> None:
        raise RegisterError("There is no engine E9.")

    book = create_logbook(tmp_path / "book", settings_text())
    desk = Desk(book, lambda: datetime(2026, 11, 1, tzinfo=UTC), "me")
    shown = text_of(framed(Page("Engines", "/", "Engines", layout, no_callbacks), desk, {}))
    assert "There is no engine E9." in shown
    assert '"role": "alert"' in shown
    assert "Register" in shown


@pytest.mark.parametrize(
    ("text", "seconds"), [("7.25", 7.25), ("", None), (None, None), ("nan", None), ("x", None)]
)
def test_seconds_in_an_address_are_a_number_or_nothing(
    text: str | None, seconds: float | None
) -> None:
    assert seconds_from(text) == seconds
