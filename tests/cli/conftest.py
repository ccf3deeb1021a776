"""The installed command, a spec and small logs to use it on."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sysconfig
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

SCRIPT = Path(sysconfig.get_path("scripts")) / "babbitt"

SPEC = """
[engine]
type = "short-stroke four"
cylinders = 4
bore_mm = 86.0
stroke_mm = 86.0
rod_length_mm = 143.0
idle_rpm = 1100
[over_rev]
redline_rpm = 7600
mechanical_rpm = 8300
[oil_temperature]
limit_c = 135.0
[coolant_temperature]
limit_c = 108.0
[boost]
limit_kpa = 180.0
[life]
over_rev = 900.0
oil_starvation = 400.0
"""


@dataclass(frozen=True)
class Result:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@dataclass(frozen=True)
class Shop:
    """A folder with a logbook of one engine, and the command that works on it."""

    folder: Path

    @property
    def book(self) -> Path:
        return self.folder / "book"

    def __call__(self, *words: object) -> Result:
        return run("--logbook", self.book, *words)

    def totals(self) -> dict[str, Any]:
        return self("totals", "E1", "--json").json[0]


def run(*words: object, cwd: Path | None = None) -> Result:
    """Run the installed command as a user would."""
    environment = {k: v for k, v in os.environ.items() if k != "BABBITT_LOGBOOK"}
    done = subprocess.run(
        [SCRIPT, *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env={**environment, "PYTHONIOENCODING": "utf-8"},
        timeout=120,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return Result(done.returncode, done.stdout, done.stderr)


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


LogWriter = Callable[..., Path]


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
