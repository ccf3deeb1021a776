"""The installed command as a user runs it, and a shop to use it in."""

from __future__ import annotations

import json
import os
import resource
import sys
import sysconfig
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from babbitt.commands.cli import main
from forked import FORK
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


def run(*words: object, cwd: Path | None = None, most_bytes: int | None = None) -> Result:
    """Run a command as a user would, in a process of its own.

    The process is forked from one that has imported the program already, since that takes longer
    than most commands; `SCRIPT` is what a user starts.

    Args:
        words: after `babbitt`.
        cwd: the folder it runs in; None: this one.
        most_bytes: no file that it writes may grow beyond this.
    """
    with TemporaryDirectory() as folder:
        out, err = Path(folder) / "out", Path(folder) / "err"
        process = FORK.Process(
            target=_run,
            args=([str(word) for word in words], cwd or Path.cwd(), out, err, most_bytes),
        )
        process.start()
        process.join(120)
        if process.exitcode is None:
            process.kill()
            raise AssertionError(f"babbitt {words} takes too long")
        done = Result(process.exitcode, out.read_text("utf-8"), err.read_text("utf-8"))
    assert "Traceback" not in done.err, done.err
    return done


def _run(words: list[str], cwd: Path, out: Path, err: Path, most_bytes: int | None) -> None:
    os.environ.pop("BABBITT_LOGBOOK", None)
    os.chdir(cwd)
    for name, number, path in (("stdout", 1, out), ("stderr", 2, err)):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT), number)
        setattr(sys, name, os.fdopen(number, "w", encoding="utf-8", closefd=False))
    if most_bytes is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))
    sys.argv = ["babbitt", *words]
    main()


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
