"""The pages Engines and Engine, and what they let one take away, without a browser."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import flask.testing
import pytest
from dash import no_update

from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.register.records import events
from babbitt.register.records.refusals import Refusal, note_refusal
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import engine, engines
from babbitt_dashboard.serving import warm
from dashboard_calls import text_of
from engine_book import NOW, add_run


@pytest.fixture
def desk(engine_book: Logbook) -> Desk:
    return Desk(engine_book, lambda: NOW, "Ann")


@pytest.fixture
def client(desk: Desk) -> flask.testing.FlaskClient:
    return make_app(desk).server.test_client()


def test_the_first_page_says_what_to_do_and_leads_to_each_engine(desk: Desk) -> None:
    page = text_of(engines.layout(desk))
    assert "Pull E1. Inspect E2. Run on with E3." in page
    for engine_id in ("E1", "E2", "E3"):
        assert f'"/engine/{engine_id}"' in page
    assert "This supports, and never replaces" in page
    assert page.index('"E1"') < page.index('"E2"') < page.index('"E3"')
    assert "oil starvation: 48 % of the life dose used, the next outing would add 8 %" in page


def test_a_link_keeps_how_far_ahead_and_in_which_order(desk: Desk) -> None:
    page = text_of(engines.layout(desk, runs="3", sort="running"))
    assert '"/?runs=3&sort=engine"' in page
    assert '"/engine/E1?runs=3"' in page
    assert "What drove it, after 3 more runs" in page
    assert '"aria-sort": "descending"' in page


@pytest.mark.parametrize(("runs", "sort"), [("x", "nothing"), ("", ""), (None, None)])
def test_an_odd_address_gives_the_plain_page(desk: Desk, runs: str, sort: str) -> None:
    page = text_of(engines.layout(desk, runs=runs, sort=sort))
    assert "after the next run" in page
    assert '"aria-sort": "other"' in page


def test_an_empty_logbook_says_what_to_do_next(tmp_path) -> None:
    book = create_logbook(tmp_path / "book", settings_text())
    page = text_of(engines.layout(Desk(book, lambda: NOW, "Ann")))
    assert "babbitt engine add" in page


def test_looking_further_ahead_changes_list_sentence_and_address(desk: Desk) -> None:
    as_of = f"{desk.foresight.at(NOW).at.isoformat()} 0"
    listing, advice, state, told_as_of, _ = engines.look(desk, 4, "engine", as_of, ticked=False)
    assert "after 4 more runs" in text_of(listing)
    assert advice.startswith("Pull E1")
    assert state == {"runs": 4, "sort": "engine"}
    assert told_as_of == as_of


def test_a_page_that_stays_open_shows_a_new_run_and_else_stays_as_it_is(desk: Desk) -> None:
    as_of = f"{desk.foresight.at(NOW).at.isoformat()} 0"
    assert engines.look(desk, 1, "urgency", as_of, ticked=True) == (no_update,) * 5
    with desk.book.register.writing("Ann") as session:
        add_run(session, "E3", NOW - timedelta(hours=3), doses=(150.0,))
    later = Desk(desk.book, lambda: NOW + timedelta(minutes=1), "Ann")
    listing, *_ = engines.look(later, 1, "urgency", as_of, ticked=True)
    assert "150 %" in text_of(listing)


def test_a_page_that_stays_open_tells_of_a_log_that_was_refused(desk: Desk) -> None:
    page = text_of(engines.layout(desk))
    assert '"4 runs since 12 Feb 2026"' in page
    assert "refused" not in page
    refusal = Refusal("a" * 64, "run.csv", "E1", "run.csv: no unit.", (), NOW)
    with desk.book.register.writing("Ann") as session:
        note_refusal(session, refusal)
    as_of = f"{desk.foresight.at(NOW).at.isoformat()} 0"
    *_, lately = engines.look(desk, 1, "urgency", as_of, ticked=True)
    assert "1 log refused" in text_of(lately)
    assert '"href": "/logs"' in text_of(lately)
    assert text_of(lately) in text_of(engines.layout(desk))


def test_no_number_of_runs_changes_nothing(desk: Desk) -> None:
    assert engines.look(desk, None, "urgency", "", ticked=False) == (no_update,) * 5
    assert engine.ahead(desk, "E1", None, "") == (no_update,) * 8


def test_what_cannot_be_read_is_a_sentence_in_the_list(desk: Desk) -> None:
    desk.book.register.close()
    (desk.book.root / "register.sqlite").write_bytes(b"no database at all" * 100)
    refused, *others = engines.look(desk, 1, "urgency", "", ticked=False)
    assert "restore it from a backup" in text_of(refused)
    assert others == [no_update] * 4
    refused, *others = engine.ahead(desk, "E1", 2, "")
    assert "restore it from a backup" in text_of(refused)
    assert others == [no_update] * 7
    warm(desk)  # leaves it to the pages to say so


def test_the_page_of_an_engine_tells_its_story(desk: Desk) -> None:
    page = text_of(engine.layout(desk, "E1", runs="2"))
    for words in (
        "after 2 more runs",
        "What would change it",
        "6 events count. Oil starvation has used most of its life dose: 48 %.",
        "Refreshed 31 Jan 2026: new bearings.",
        "RB-1 to RB-4",
        "Oil pressure is 11 % lower at 4,000 rpm and 95 °C than when fresh",
        "This supports, and never replaces",
    ):
        assert words in page
    (worst, *_) = events_of(desk)
    assert f'"/run/{worst.run_id}?event={worst.event_id}"' in page
    assert '"/report/engine/E1.html?runs=2"' in page


def events_of(desk: Desk) -> list[Any]:
    with desk.book.register.reading() as session:
        return [dated.event for dated in events.list_events(session, engine_id="E1")]


def test_an_engine_that_never_ran_has_a_page_too(desk: Desk) -> None:
    page = text_of(engine.layout(desk, "E3"))
    assert "It has not run since." in page
    assert "take in a log" in page


def test_an_engine_that_is_not_there_is_refused_in_a_sentence(desk: Desk) -> None:
    page = text_of(engine.layout(desk, "E9"))
    assert "There is no engine 'E9'" in page
    assert '"H1"' in page


@pytest.mark.parametrize(("asked", "runs"), [(5, 5), (0, 1), (99, 40)])
def test_the_slider_looks_ahead_within_bounds(desk: Desk, asked: int, runs: int) -> None:
    verdict, figure, outlook, taken, state, label, report, drawn = engine.ahead(
        desk, "E1", asked, ""
    )
    assert state == {"runs": runs, "circuit": None}
    assert report == f"/report/engine/E1.html?runs={runs}"
    assert drawn == []
    assert label == ("after the next run" if runs == 1 else f"after {runs} more runs")
    assert "E1" in text_of(verdict)
    assert figure.layout.xaxis.range[1] == 6 + runs
    assert label in text_of(outlook)
    assert ("Next run adds" if runs == 1 else f"{runs} runs add") in text_of(taken)


def test_a_report_is_shown_under_a_policy_of_its_own(client: flask.testing.FlaskClient) -> None:
    for path, name in (("/report/engines.html", "engines"), ("/report/engine/E1.html", "E1")):
        answer = client.get(f"{path}?runs=2")
        assert answer.status_code == 200
        assert answer.mimetype == "text/html"
        assert answer.headers["Content-Security-Policy"] == "frame-ancestors 'none'"
        assert answer.headers["Content-Disposition"] == f"inline; filename={name}.html"
        assert "after 2 more runs" in answer.text.replace("\N{NO-BREAK SPACE}", " ")


def test_tables_are_taken_away_as_csv_of_one_engine_or_all(
    client: flask.testing.FlaskClient,
) -> None:
    answer = client.get("/csv/events.csv?engine=E1")
    assert answer.headers["Content-Disposition"] == "attachment; filename=events-E1.csv"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == 6
    assert {row["kind"] for row in rows} == {"oil_starvation"}
    totals = list(csv.DictReader(io.StringIO(client.get("/csv/totals.csv").text)))
    assert {row["engine_id"] for row in totals} == {"E1", "E2", "E3"}
    used = [
        row["used"] for row in totals if row["kind"] == "oil_starvation" and row["count"] == "6"
    ]
    assert [float(each) for each in used] == pytest.approx([0.48])


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/report/engine/E9.html", "There is no engine 'E9'"),
        ("/csv/events.csv?engine=E9", "There is no engine 'E9'"),
        ("/csv/secrets.csv", "There is no table 'secrets' to take away: events, totals."),
    ],
)
def test_what_is_not_there_is_one_sentence(
    client: flask.testing.FlaskClient, path: str, said: str
) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.mimetype == "text/plain"
    assert answer.text.startswith(said)
