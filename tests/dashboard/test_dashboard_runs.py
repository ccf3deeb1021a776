"""The page of all runs, without a browser."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.present.views import runs
from babbitt.register.records import corrections
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import runs as page
from dashboard_calls import text_of
from run_book import FIRST, SECOND, make_run_book


def desk_of(book: Any) -> Desk:
    return Desk(book, lambda: datetime(2026, 6, 1, tzinfo=UTC), "Bob")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return desk_of(make_run_book(tmp_path_factory.mktemp("runs") / "book"))


def test_runs_lead_to_their_pages_newest_first(desk: Desk) -> None:
    shown = text_of(page.layout(desk))
    assert shown.index(f"/run/{SECOND}") < shown.index(f"/run/{FIRST}")
    assert "2 runs, newest first." in shown
    assert "oil starvation, down to 100 kPa" in shown
    assert "2 to review" in shown


def test_the_address_holds_the_filter_and_what_it_has_wrong_is_left_out(desk: Desk) -> None:
    shown = text_of(page.layout(desk, engine="E1", since="2026-05-03", until="x", only="y"))
    assert SECOND in shown
    assert FIRST not in shown
    kept = {"engine": "E1", "circuit": None, "since": "2026-05-03", "until": None, "only": None}
    assert json.dumps(kept | {"page": None}) in shown


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "2026-02-30"])
def test_a_day_that_cannot_be_meant_is_left_out(desk: Desk, day: str) -> None:
    assert FIRST in text_of(page.listing(desk, "", "", "", day, "all"))


def test_an_unknown_engine_is_told_in_a_sentence(desk: Desk) -> None:
    assert "There is no engine 'E9'" in text_of(page.layout(desk, engine="E9"))


def test_long_lists_have_pages(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "A_PAGE", 1)
    first = text_of(page.layout(desk, engine="E1"))
    assert "older runs" in first
    assert "/runs?engine=E1&page=2" in first
    second = text_of(page.layout(desk, page="2"))
    assert "newer runs" in second
    assert "older runs" not in second


def test_an_empty_list_says_what_to_do(desk: Desk, tmp_path: Path) -> None:
    empty = desk_of(create_logbook(tmp_path / "empty", settings_text()))
    assert "take logs in" in text_of(page.layout(empty))
    assert "show all" in text_of(page.listing(desk, "", "", "2027-01-01", "", "all"))


def test_the_filter_narrows_the_list_and_mirrors_itself(desk: Desk) -> None:
    names = ("runs-engine", "runs-circuit", "runs-since", "runs-until", "runs-only")
    given = ("E1", "", None, "2026-05-02", "harm")
    answer = (
        make_app(desk)
        .server.test_client()
        .post(
            "/_dash-update-component",
            json={
                "output": "..runs-list.children...runs-state.data..",
                "outputs": [
                    {"id": "runs-list", "property": "children"},
                    {"id": "runs-state", "property": "data"},
                ],
                "inputs": [
                    {"id": name, "property": "value", "value": value}
                    for name, value in zip(names, given, strict=True)
                ],
                "changedPropIds": ["runs-until.value"],
            },
        )
    )
    response = answer.json["response"]
    assert FIRST in text_of(response["runs-list"])
    assert SECOND not in text_of(response["runs-list"])
    assert response["runs-state"]["data"] == {
        "engine": "E1",
        "circuit": None,
        "since": None,
        "until": "2026-05-02",
        "only": "harm",
        "page": None,
    }


def test_runs_are_narrowed_to_a_circuit_and_each_says_its_own(tmp_path: Path) -> None:
    desk = desk_of(make_run_book(tmp_path / "book"))
    with desk.book.register.writing() as session:
        corrections.amend_run(session, FIRST, circuit="Tollbar Bowl")
    shown = text_of(page.layout(desk, circuit="tollbar bowl"))
    assert FIRST in shown
    assert SECOND not in shown
    assert "/report/runs.html?circuit=tollbar+bowl" in shown
    every = text_of(page.layout(desk))
    assert SECOND in every
    assert every.count("Tollbar Bowl") == 3  # the choice, by value and words, and the run
    report = make_app(desk).server.test_client().get("/report/runs.html?circuit=Tollbar+Bowl")
    assert "<h1>Runs at Tollbar Bowl" in report.text
    assert report.text.count("Tollbar Bowl</td>") == 1
