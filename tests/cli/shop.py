"""The installed command as a user runs it, and a shop to use it in."""

from __future__ import annotations

import json
import os
import subprocess
import sysconfig
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from invented import SPEC as BARE_SPEC

SCRIPT = Path(sysconfig.get_path("scripts")) / "babbitt"

SPEC = BARE_SPEC + "[life]\nover_rev = 900.0\noil_starvation = 400.0\n"


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


def run(
    *words: object, cwd: Path | None = None, preexec_fn: Callable[[], None] | None = None
) -> Result:
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
        preexec_fn=preexec_fn,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return Result(done.returncode, done.stdout, done.stderr)


LogWriter = Callable[..., Path]


def write_minute(path: Path, *, start: str, peak_rpm: float) -> Path:
    """Write a log of a minute's steady running with one over-rev, as a CSV."""
    seconds = np.arange(0.0, 60.0, 0.05)
    rpm = np.interp(seconds, [0, 2, 3, 29, 30, 31, 60], [0, 0, 3000, 3000, peak_rpm, 3000, 3000])
    rows = np.column_stack(
        [seconds, rpm, np.where(rpm > 0, 400.0, 0.0), 0 * rpm + 90.0, 0 * rpm + 85.0, 0 * rpm]
    )
    rows[:, 2:] += np.random.default_rng(7).normal(0.0, 0.3, rows[:, 2:].shape)
    lines = [
        f"Start,{start}",
        "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C),Coolant Temp (°C),Lateral G (g)",
    ]
    lines += [",".join(f"{value:.3f}" for value in row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
