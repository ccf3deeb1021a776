"""What holds for every test."""

from __future__ import annotations

import os
import shutil
import signal
from pathlib import Path

import pytest
from hypothesis import settings

from babbitt.logbook.folder import Logbook, open_logbook

settings.register_profile("steady", derandomize=True)
settings.register_profile("explore", max_examples=2_000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
"""Every run of the suite tries the same examples; HYPOTHESIS_PROFILE=explore looks for new ones."""

# A shell that starts the tests in the background makes them, and what they start, deaf to Ctrl-C.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def made_engine_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The logbook of engine_book.py, made once; not to be written to."""
    from engine_book import make_engine_book

    folder = tmp_path_factory.mktemp("engines") / "book"
    make_engine_book(folder).register.close()
    return folder


@pytest.fixture
def engine_book(made_engine_book: Path, tmp_path: Path) -> Logbook:
    """The logbook of engine_book.py, a test's own."""
    return open_logbook(shutil.copytree(made_engine_book, tmp_path / "engine_book"))
