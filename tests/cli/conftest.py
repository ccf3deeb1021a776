"""A logbook of one engine, and small logs to take in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from shop import SPEC, LogWriter, Shop, run, write_minute


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "spec.toml").write_text(SPEC, encoding="utf-8")
    assert run("new", folder / "book").status == 0
    added = run(
        "--logbook",
        folder / "book",
        "engine",
        "add",
        "E1",
        "--spec",
        folder / "spec.toml",
        "--built",
        "2026-01-01",
    )
    assert added.status == 0, added.err
    return folder


@pytest.fixture
def shop(made_once: Path, tmp_path: Path) -> Shop:
    """A shop of the test's own."""
    return Shop(shutil.copytree(made_once, tmp_path / "shop"))


@pytest.fixture
def write_log(tmp_path: Path) -> LogWriter:
    """Write a log of a minute's steady running with one over-rev, as a CSV."""

    def write(
        name: str = "run.csv", *, start: str = "2026-05-03T10:00:00Z", peak_rpm: float = 8000.0
    ) -> Path:
        return write_minute(tmp_path / name, start=start, peak_rpm=peak_rpm)

    return write
