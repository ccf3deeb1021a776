"""Write one small log a form beside this file; with --show, print what is read from them.

python -m dialects.make [--show]
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

from rich.console import Console
from rich.table import Table

from babbitt.errors import LogRefusedError
from babbitt.ingest.read import Instructions, ReadSource, read_log
from dialects import table_forms, time_forms
from dialects.form import START, Form

FOLDER = Path(__file__).parent
USUAL = ("Not in this log", "The log names no ")
"""Warnings that most of these short logs bring, and that are not of their form."""

FORMS: list[Form] = [
    *table_forms.separators(),
    *table_forms.headers(),
    *table_forms.cells(),
    *time_forms.clocks(),
    *time_forms.samples(),
    *time_forms.endings(),
]


def write() -> None:
    for old in FOLDER.glob("*.csv"):
        old.unlink()
    for form in FORMS:
        (FOLDER / f"{form.name}.csv").write_bytes(form.data)


def source_of(form: Form) -> ReadSource:
    data = (FOLDER / f"{form.name}.csv").read_bytes()
    return ReadSource(f"{form.name}.csv", data, hashlib.sha256(data).hexdigest(), START)


def show() -> None:
    table = Table(
        "form", "what is special about it", "rows", "channels", "warnings, or why refused"
    )
    for form in FORMS:
        try:
            run = read_log(source_of(form), Instructions("NB-01", **form.given))
        except LogRefusedError as error:
            table.add_row(form.name, form.says, "-", "-", f"refused: {error}")
            continue
        channels = ", ".join(run.signals) if len(run.signals) < 8 else f"{len(run.signals)}"
        warnings = [said for said in run.info.warnings if not said.startswith(USUAL)]
        table.add_row(
            form.name, form.says, f"{len(run.time_s)}", channels, "\n".join(warnings) or "none"
        )
    Console(width=160, highlight=False, markup=False).print(table)


if __name__ == "__main__":
    show() if "--show" in sys.argv else write()
