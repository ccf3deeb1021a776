"""How fast short commands start, against importing what every one of them needs."""

from __future__ import annotations

import statistics
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import pytest

from small_logs import make_book

SCRIPT = Path(sysconfig.get_path("scripts")) / "babbitt"
ROUNDS = 9


def seconds(*command: object) -> float:
    began = perf_counter()
    subprocess.run([*map(str, command)], check=True, capture_output=True)
    return perf_counter() - began


@pytest.mark.parametrize(
    ("words", "reach"),
    [(("--help",), 1.5), (("engine", "list"), None), (("totals", "E1"), None)],
    ids=["help", "engine list", "totals"],
)
@pytest.mark.benchmark
def test_a_short_command_starts_fast(
    benchmark: object,
    keep_row: Callable[..., None],
    tmp_path: Path,
    words: tuple[str, ...],
    reach: float | None,
) -> None:
    """Whole processes in turn, after one of each that is not counted."""
    make_book(tmp_path / "book").register.close()
    command = (SCRIPT, "--logbook", tmp_path / "book", *words)
    baseline = (sys.executable, "-c", "import sqlalchemy, typer")
    pairs = [(seconds(*command), seconds(*baseline)) for _ in range(ROUNDS + 1)][1:]
    benchmark.pedantic(seconds, args=command, rounds=1)  # type: ignore[attr-defined]
    ratios = [ours / theirs for ours, theirs in pairs]
    assert statistics.median(ratios) > 0.0
    keep_row(f"`{' '.join(words)}` / importing sqlalchemy and typer", ratios, reach=reach, aim=1.2)
