"""The file of a run that a test made."""

from __future__ import annotations

from pathlib import Path

from babbitt.logbook.run_file import RunWriter
from babbitt.model.run import Run


def write_run(run: Run, path: Path) -> None:
    with RunWriter(path) as writer:
        writer.write(run)
        writer.finish(run.info)
