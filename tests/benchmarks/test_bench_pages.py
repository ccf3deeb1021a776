"""How long the first page takes with 50 engines and 2,000 runs, warm and right after a change."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import flask.testing
import pytest

from babbitt.register.records import corrections
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.serving import warm
from fleet_book import BUILD_LASTS, BUILT, RUNS_A_BUILD, make_fleet

ENGINES = 50
TEARDOWNS_EACH = 4
RUNS = ENGINES * (TEARDOWNS_EACH + 1) * RUNS_A_BUILD
NOW = BUILT + TEARDOWNS_EACH * BUILD_LASTS + timedelta(days=50)
REACH_S = 1.0


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder: Path = tmp_path_factory.mktemp("pages") / "book"
    book = make_fleet(folder, engine_count=ENGINES, teardowns_each=TEARDOWNS_EACH)
    yield Desk(book, lambda: NOW, "Ann")
    book.register.close()


def first_page(client: flask.testing.FlaskClient) -> str:
    """What a browser asks for: the frame, then, in a callback, what lies in it."""
    assert client.get("/").status_code == 200
    outputs = "..paper-content.children...paper-store.data.."
    asked = {
        "output": outputs.replace("paper-content", "_pages_content").replace(
            "paper-store", "_pages_store"
        ),
        "outputs": [
            {"id": "_pages_content", "property": "children"},
            {"id": "_pages_store", "property": "data"},
        ],
        "inputs": [
            {"id": "_pages_location", "property": "pathname", "value": "/"},
            {"id": "_pages_location", "property": "search", "value": ""},
        ],
        "changedPropIds": ["_pages_location.pathname"],
    }
    answer = client.post("/_dash-update-component", json=asked)
    assert answer.status_code == 200
    return answer.text


def test_the_first_page_of_fifty_engines_and_two_thousand_runs(
    benchmark, keep_row, desk: Desk
) -> None:
    client = make_app(desk).server.test_client()
    warm(desk)
    page = benchmark.pedantic(first_page, args=(client,), rounds=5, warmup_rounds=1)
    assert RUNS == 2_000
    assert page.count("eng-name") == ENGINES
    what = f"first page, {ENGINES} engines, {RUNS:,} runs"
    keep_row(what, benchmark.stats.stats.data, reach=REACH_S, unit="s")


def test_the_first_page_right_after_a_new_entry(benchmark, keep_row, desk: Desk) -> None:
    """All is worked out anew; only told, for it happens once an entry."""
    client = make_app(desk).server.test_client()
    warm(desk)
    minutes = iter(range(10, 100))

    def enter() -> tuple[tuple[flask.testing.FlaskClient], dict[str, object]]:
        with desk.book.register.writing("Ann") as session:
            n = next(minutes)
            corrections.add_unlogged(session, "E00", minutes=n, at=NOW - timedelta(hours=n))
        return (client,), {}

    page = benchmark.pedantic(first_page, setup=enter, rounds=3)
    assert page.count("eng-name") == ENGINES
    keep_row("the same right after a new entry", benchmark.stats.stats.data, unit="s")
