"""Logbooks to export, import to and back up."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.register.records import engines
from exchange_books import make_full_book
from invented import SPEC


@pytest.fixture(scope="session")
def full_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with a record of every sort, made once."""
    return make_full_book(tmp_path_factory.mktemp("full")).root


@pytest.fixture
def full(full_once: Path, tmp_path: Path) -> Logbook:
    """A logbook with a record of every sort, of the test's own."""
    return open_logbook(shutil.copytree(full_once, tmp_path / "full"))


@pytest.fixture(scope="session")
def empty_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new logbook in the zone of Berlin, made once."""
    folder = tmp_path_factory.mktemp("empty") / "book"
    create_logbook(folder, settings_text(timezone="Europe/Berlin")).register.close()
    return folder


@pytest.fixture
def empty(empty_once: Path, tmp_path: Path) -> Logbook:
    """A new logbook, of the test's own."""
    return open_logbook(shutil.copytree(empty_once, tmp_path / "empty"))


@pytest.fixture
def book(empty_once: Path, tmp_path: Path) -> Logbook:
    """A logbook that knows the engines E1 and E2, in the zone of Berlin, of the test's own."""
    made = open_logbook(shutil.copytree(empty_once, tmp_path / "book"))
    with made.register.writing() as session:
        for engine_id in ("E1", "E2"):
            engines.add_engine(session, engine_id, SPEC)
    return made
