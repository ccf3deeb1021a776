"""The pages of a logbook that has been through everything, open and behind a password."""

from __future__ import annotations

import shutil
from pathlib import Path

import flask.testing
import pytest
from dash import Dash

from babbitt.logbook.folder import Logbook, open_logbook
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import add_guard, hash_password
from engine_book import NOW
from entrance import PASSWORD, TLS
from strip_book import make_strip_book


@pytest.fixture(scope="session")
def made_strip_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("strip") / "book"
    make_strip_book(folder).register.close()
    return folder


@pytest.fixture
def book(made_strip_book: Path, tmp_path: Path) -> Logbook:
    """A logbook of the test's own."""
    return open_logbook(shutil.copytree(made_strip_book, tmp_path / "book"))


@pytest.fixture
def app(book: Logbook) -> Dash:
    """The pages, without a guard."""
    return make_app(Desk(book, lambda: NOW, "Bob"))


@pytest.fixture
def pages(app: Dash) -> flask.testing.FlaskClient:
    """What a browser on this machine sees."""
    add_guard(app, password_hash=None)
    return app.server.test_client()


@pytest.fixture
def hashes() -> list[str | None]:
    """The hash of the password that holds: the last one."""
    return [hash_password(PASSWORD)]


@pytest.fixture
def locked(app: Dash, hashes: list[str | None]) -> flask.testing.FlaskClient:
    """What a browser sees where a password is set, before it logs in."""
    add_guard(app, password_hash=lambda: hashes[-1], behind_tls=True)
    return app.server.test_client()


@pytest.fixture
def entered(locked: flask.testing.FlaskClient) -> flask.testing.FlaskClient:
    """The same, once it has logged in."""
    assert locked.post("/login", data={"password": PASSWORD}, base_url=TLS).status_code == 302
    return locked
