"""A logbook of one engine, and small logs to take in."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from shop import SPEC, LogWriter, Shop, run


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "spec.toml").write_text(SPEC, encoding="utf-8")
    assert run("init", folder / "book").status == 0
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
        seconds = np.arange(0.0, 60.0, 0.05)
        rpm = np.interp(
            seconds, [0, 2, 3, 29, 30, 31, 60], [0, 0, 3000, 3000, peak_rpm, 3000, 3000]
        )
        rows = np.column_stack(
            [seconds, rpm, np.where(rpm > 0, 400.0, 0.0), 0 * rpm + 90.0, 0 * rpm + 85.0, 0 * rpm]
        )
        rows[:, 2:] += np.random.default_rng(7).normal(0.0, 0.3, rows[:, 2:].shape)
        lines = [
            f"Start,{start}",
            "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C),Coolant Temp (°C),Lateral G (g)",
        ]
        lines += [",".join(f"{value:.3f}" for value in row) for row in rows]
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path

    return write
