"""A whole logbook on either database: the main job, and mending it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from babbitt.commands.totals import totals_of
from babbitt.ingest.source import Instructions
from babbitt.jobs import move_runs as moves
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.register.records import engines
from invented import SPEC


@pytest.fixture
def book(register_url, database, tmp_path: Path) -> Iterator[Logbook]:
    """A logbook whose settings name its register's database."""
    url = register_url.render_as_string(hide_password=False)
    line = "" if database == "sqlite" else f'register = "{url}"\n'
    book = create_logbook(tmp_path / "book", line + settings_text())
    with book.register.writing() as session:
        for engine_id in ("E1", "E2"):
            engines.add_engine(session, engine_id, SPEC)
    yield book
    book.register.close()


def write_log(folder: Path) -> Path:
    rows = [(i / 20, 3000 + i % 7 + max(0, 250 * (20 - abs(i - 410)))) for i in range(1200)]
    path = folder / "run.csv"
    lines = ["Start,2026-05-03T10:00:00Z", "Time (s),RPM", *(f"{t},{n}" for t, n in rows)]
    path.write_text("\n".join(lines) + "\n")
    return path


def over_revs(book: Logbook, engine_id: str) -> int:
    (totals,) = totals_of(book, engine_id)
    return next(row.count for row in totals.events if row.kind == "over_rev")


def test_the_main_job_and_its_correction(book: Logbook, tmp_path: Path) -> None:
    log = write_log(tmp_path)
    taken = ingest_log(book, log, Instructions("E1"))
    assert taken.status == "ingested", taken.error
    assert ingest_log(book, log, Instructions("E1")).status == "duplicate"
    assert over_revs(book, "E1") == 1
    moves.assign_run(book, str(taken.run_id), "E2", reason="wrong car", who="Ada")
    assert over_revs(book, "E1") == 0
    moves.undo(book, reason="right after all", who="Ada")
    ingest_log(book, log, Instructions("E1"))  # judges what the move left
    assert over_revs(book, "E1") == 1
    again = open_logbook(book.root)
    assert verify(again).faults == ()
    again.register.close()
