"""An engine that was withdrawn leaves every other answer as it was without it."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.logbook.folder import open_logbook
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from shop import Shop, write_minute

NOW = datetime(2026, 5, 6, tzinfo=UTC)
ANSWERS = (
    ("engine", "list"),
    ("run", "list"),
    ("totals",),
    ("events",),
    ("outlook",),
    ("backtest",),
    ("teardown", "list"),
    ("part", "list"),
    ("journal",),
    ("verify",),
    ("detect",),
)


@pytest.fixture(scope="module")
def one_less(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A shop that withdrew its second engine, after it was refreshed by mistake."""
    folder = tmp_path_factory.mktemp("withdrawn")
    shop = Shop(shutil.copytree(made_once, folder / "shop"))
    log = folder / "a.csv"
    write_minute(log, start="2026-05-01T10:00:00Z", peak_rpm=9000.0)
    added = "engine", "add", "E2", "--spec", shop.folder / "spec.toml", "--built", "2026-01-01"
    for words in (
        ("ingest", log, "--engine", "E1"),
        added,
        ("engine", "refresh", "E2", "--at", "2026-04-01"),
        ("undo",),
        ("withdraw", "engine", "E2"),
    ):
        done = shop(*words)
        assert done.status == 0, (words, done.err)
    return shop


@pytest.mark.parametrize("words", ANSWERS, ids=" ".join)
def test_every_answer_stands(words: tuple[str, ...], one_less: Shop) -> None:
    done = one_less(*words)
    assert done.status == 0, done.err
    assert "There is no engine" not in done.out + done.err


@pytest.mark.parametrize("words", [("totals",), ("outlook",), ("engine", "list")], ids=" ".join)
def test_it_is_in_none_that_tells_all_engines(words: tuple[str, ...], one_less: Shop) -> None:
    assert [each["engine_id"] for each in one_less(*words, "--json").json] == ["E1"]


def test_the_report_of_all_and_an_export_are_made(one_less: Shop, tmp_path: Path) -> None:
    report = one_less("report", "--to", tmp_path / "all.html")
    assert report.status == 0, report.err
    assert "E2" not in (tmp_path / "all.html").read_text("utf-8")
    assert one_less("export", tmp_path / "out").status == 0


def test_the_pages_open(one_less: Shop) -> None:
    browser = make_app(Desk(open_logbook(one_less.book), lambda: NOW, "Ann")).server.test_client()
    for page in ("/report/engines.html", "/report/engine/E1.html"):
        assert browser.get(page).status_code == 200, page


def test_undo_brings_it_back(one_less: Shop) -> None:
    for word in ("undo", "redo"):
        done = one_less(word)
        assert done.status == 0, done.err
