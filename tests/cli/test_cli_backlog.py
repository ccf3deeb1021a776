"""Folders of logs through the installed command: all of them, and only once."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from shop import SCRIPT, Shop
from small_logs import write_log, write_season


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_folder_is_taken_in_and_what_is_refused_is_reported(shop: Shop, tmp_path: Path) -> None:
    write_season(tmp_path / "logs", logs=8)
    report = tmp_path / "refused.csv"
    words = ("ingest", tmp_path / "logs", "--engine", "E1", "--report", report)
    first = shop(*words, "--json")
    assert first.status == 1
    counted = [intake["status"] for intake in first.json]
    assert [counted.count(each) for each in ("ingested", "duplicate", "refused")] == [8, 1, 2]
    notes, overlap = sorted(rows(report), key=lambda row: Path(row["file"]).name)
    assert Path(notes["file"]).name == "notes.txt"
    assert "no table of numbers" in notes["why"]
    assert "overlaps the run" in overlap["why"]
    assert overlap["option"] == "'--overlap replace", "no spreadsheet may take it for a formula"

    write_log(tmp_path / "logs" / "new.csv", "2026-06-01T10:00:00Z")
    again = shop(*words)
    assert again.status == 1
    assert "1 ingested" in again.out
    assert "9 duplicate" in again.out
    assert len(rows(report)) == 2
    assert shop("verify", "--json").json == {"runs": 9, "faults": [], "unfinished": []}


def test_of_many_logs_a_summary_is_printed(shop: Shop, tmp_path: Path) -> None:
    for hour in range(31):
        write_log(tmp_path / f"{hour}.csv", f"2026-05-{1 + hour // 20:02d}T{hour % 20:02d}:00:00Z")
    said = shop("ingest", *tmp_path.glob("*.csv"), "--engine", "E1", "--workers", "2")
    assert said.status == 0, said.err
    summary = [line.split() for line in said.out.splitlines()]
    assert ["ingested", "31", "10", "min", "17", "s", "6,200"] in summary
    assert any(line[:2] == ["31", "logs:"] and "Not" in line for line in summary), said.out


def test_a_report_that_cannot_be_written_is_said_before_the_work(
    shop: Shop, tmp_path: Path
) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")
    said = shop("ingest", log, "--engine", "E1", "--report", tmp_path / "no" / "where.csv")
    assert said.status == 1
    assert "Cannot write" in said.err
    assert shop("run", "list", "--json").json == []


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGINT to send")
def test_an_interrupted_backlog_is_completed_by_repeating_it(shop: Shop, tmp_path: Path) -> None:
    for hour in range(30):
        write_log(tmp_path / f"{hour}.csv", f"2026-05-{1 + hour // 20:02d}T{hour % 20:02d}:00:00Z")
    logs = sorted(tmp_path.glob("*.csv"))
    words = ("ingest", *logs, "--engine", "E1", "--workers", "2")
    environment = {k: v for k, v in os.environ.items() if k != "BABBITT_LOGBOOK"}
    with subprocess.Popen(
        [SCRIPT, "--logbook", shop.book, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        start_new_session=True,
    ) as process:
        deadline = time.monotonic() + 60.0
        while len(list(shop.book.glob("runs/*/*.parquet"))) < 3:
            assert process.poll() is None
            assert time.monotonic() < deadline
            time.sleep(0.02)
        os.killpg(process.pid, signal.SIGINT)  # as the terminal does: to the workers, too
        _, said = process.communicate(timeout=60.0)
    assert process.returncode == 130
    assert "the same command again goes on from there" in said
    assert "Traceback" not in said
    recorded = len(shop("run", "list", "--json").json)
    assert 0 < recorded < len(logs)
    assert len(list(shop.book.glob("runs/*/*.parquet"))) == recorded
    assert not list(shop.book.glob(".incoming-*"))
    assert shop(*words).status == 0
    assert shop("verify", "--json").json == {"runs": 30, "faults": [], "unfinished": []}
