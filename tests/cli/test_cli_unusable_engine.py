"""An engine whose kept spec no longer can be used leaves every other answer as it was."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.logbook.folder import open_logbook
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from shop import Shop, write_minute

NOW = datetime(2026, 5, 6, tzinfo=UTC)
OF_ALL = [("engine", "list"), ("totals",), ("outlook",)]
BESIDE = [
    ("run", "list"),
    ("events",),
    ("teardown", "list"),
    ("part", "list"),
    ("totals", "--parts"),
    ("journal",),
    ("backtest",),
]


@pytest.fixture(scope="module")
def one_unusable(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A shop whose second engine has the spec of an older program, with 10^9 cylinders."""
    folder = tmp_path_factory.mktemp("unusable")
    shop = Shop(shutil.copytree(made_once, folder / "shop"))
    log = folder / "a.csv"
    write_minute(log, start="2026-05-01T10:00:00Z", peak_rpm=9000.0)
    for words in (
        ("ingest", log, "--engine", "E1"),
        ("engine", "add", "E2", "--spec", shop.folder / "spec.toml", "--built", "2026-01-01"),
    ):
        done = shop(*words)
        assert done.status == 0, (words, done.err)
    with closing(sqlite3.connect(shop.book / "register.sqlite")) as register:
        register.execute(
            "UPDATE engine_spec SET toml = replace(toml, 'cylinders = 4', 'cylinders = 1000000000')"
            " WHERE engine_id = 'E2'"
        )
        assert register.total_changes == 1
        register.commit()
    return shop


@pytest.mark.parametrize("words", OF_ALL, ids=" ".join)
def test_the_others_are_told_of_and_it_is_named(words: tuple[str, ...], one_unusable: Shop) -> None:
    done = one_unusable(*words)
    assert done.status == 0
    assert "E1" in done.out
    assert "Nothing can be said of E2" in done.err.replace("\n", " ")
    assert "cylinders" in done.err


@pytest.mark.parametrize("words", BESIDE, ids=" ".join)
def test_what_does_not_ask_for_it_stands(words: tuple[str, ...], one_unusable: Shop) -> None:
    done = one_unusable(*words)
    assert done.status == 0, done.err


@pytest.mark.parametrize(
    "words", [("outlook", "E2"), ("totals", "E2"), ("teardown", "sheet", "E2")]
)
def test_it_is_refused_in_a_sentence(words: tuple[str, ...], one_unusable: Shop) -> None:
    done = one_unusable(*words)
    assert done.status == 1
    assert "the spec of engine E2" in done.err.replace("\n", " ")
    assert "Traceback" not in done.err


def test_the_pages_stand(one_unusable: Shop) -> None:
    app = make_app(Desk(open_logbook(one_unusable.book), lambda: NOW, "me"))
    client = app.server.test_client()
    page = client.get("/report/engines.html").text
    assert "E1" in page
    assert "Nothing can be said of E2" in page
    assert client.get("/report/register.html").status_code == 200
    assert client.get("/report/engine/E2.html").status_code == 404


def test_its_spec_can_be_mended_and_that_undone(one_unusable: Shop) -> None:
    shop = Shop(shutil.copytree(one_unusable.folder, one_unusable.folder.parent / "mended"))
    for words in (("engine", "spec", "E2", "--spec", shop.folder / "spec.toml"), ("undo",)):
        done = shop(*words)
        assert done.status == 0, done.err
