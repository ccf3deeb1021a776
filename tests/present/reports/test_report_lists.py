"""Reports of the pages that list: as the server gives them, each a page of its own."""

from __future__ import annotations

import re
from datetime import UTC
from pathlib import Path

import flask.testing
import pytest

from babbitt.present.reports.lists import logs_report
from babbitt.present.views.logs import logs_view
from babbitt.present.words import Reader
from babbitt.register.records.refusals import Refusal, note_refusal, set_aside
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from engine_book import NOW
from small_logs import make_book
from strip_book import make_strip_book


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> flask.testing.FlaskClient:
    folder: Path = tmp_path_factory.mktemp("strip") / "book"
    return make_app(Desk(make_strip_book(folder), lambda: NOW, "Ann")).server.test_client()


def words_of(page: str) -> str:
    """Return what a page says, without its tags and scripts."""
    return " ".join(
        re.sub(r"<script.*?</script>|<style.*?</style>|<[^>]+>", " ", page, flags=re.S).split()
    )


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("runs", ("Peak, rpm", "E1")),
        ("teardowns", ("Worst found", "Rod bearing 2 wiped", "1 of 2 by the log")),
        ("logs", ("Taken in lately", "Sensors of E1")),
        ("register", ("Engines", "Where", "Journal", "rod bearing 2")),
    ],
)
def test_each_list_goes_on_paper_with_what_its_page_shows(
    browser: flask.testing.FlaskClient, name: str, said: tuple[str, ...]
) -> None:
    answer = browser.get(f"/report/{name}.html")
    assert answer.status_code == 200
    words = words_of(answer.text)
    for each in said:
        assert each in words
    assert not re.findall(r"(?:src|href)=[\"']?(?:https?:)?//", answer.text)


def test_the_runs_on_paper_are_those_of_the_filter(browser: flask.testing.FlaskClient) -> None:
    every = words_of(browser.get("/report/runs.html").text)
    later = words_of(browser.get("/report/runs.html?since=2100-01-01").text)
    assert "No run fits this filter." in later
    assert "No run fits this filter." not in every
    unknown = browser.get("/report/runs.html?engine=E9")
    assert unknown.status_code == 404
    assert "E9" in unknown.text


def test_the_logs_on_paper_tell_what_was_refused(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    kept = [
        Refusal(name * 64, f"{name}.csv", "E1", f"{name}.csv: no unit.", (), NOW)
        for name in ("a", "b")
    ]
    with book.register.writing("Ann") as session:
        for each in kept:
            note_refusal(session, each)
        set_aside(session, "b")
    page = words_of(logs_report(logs_view(book), (), Reader("metric", UTC), at=NOW))
    assert "Refused Log Engine Refused Why a.csv E1" in page
    assert "No unit." in page
    assert "b.csv" not in page
