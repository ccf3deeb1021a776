"""Taking in logs of any length: packed, power-cut, in parts, interrupted."""

from __future__ import annotations

import gzip
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pytest

from babbitt.ingest import log_bytes
from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.register.records import builds, engines, events, exposures, runs
from invented import SPEC

FOR_E1 = Instructions(engine_id="E1")
HEADER = "Start,2026-05-03T10:00:00Z\nTime (s),RPM,Oil Press (kPa),Oil Temp (°C),Lat G (g)\n"
INGEST = """
import sys, time
from pathlib import Path
from unittest import mock
from babbitt.jobs.ingest import ingest_log
from babbitt.ingest.source import Instructions
from babbitt.logbook.folder import open_logbook

def held(*args, **kwargs):
    Path(sys.argv[3]).touch()
    time.sleep(600)

with mock.patch(sys.argv[4], held):
    ingest_log(open_logbook(Path(sys.argv[1])), Path(sys.argv[2]), Instructions("E1"))
"""
"""Takes a log in, and is held for ever where it calls a function."""


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return new_book(tmp_path / "book")


def new_book(root: Path) -> Logbook:
    book = create_logbook(root, settings_text())
    with book.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    return book


def rows_of(count: int) -> str:
    """Rows of ten a second: up and down the speed range, oil warming up, and surges of it."""
    at = np.arange(count) / 10.0
    rpm = 4500.0 + 2500.0 * np.sin(2 * np.pi * at / 40.0) + 2 * (np.arange(count) % 7)
    oil_c = 60.0 + 40.0 * np.minimum(at / 600.0, 1.0) + 2.0 * np.sin(at / 30.0)
    pressure = (150.0 + 0.07 * rpm - (oil_c - 80.0)) * np.where(at % 150.0 > 146.0, 0.3, 1.0)
    return "".join(
        f"{t:.1f},{n:.0f},{p + 0.1 * (i % 9):.2f},{c:.2f},{0.01 * (i % 7):.2f}\n"
        for i, (t, n, p, c) in enumerate(zip(at, rpm, pressure, oil_c, strict=True))
    )


def state_of(root: Path) -> list[tuple[str, int]]:
    return sorted(
        (str(path.relative_to(root)), path.stat().st_size)
        for path in root.rglob("*")
        if path.is_file() and not path.name.startswith("register.sqlite")
    )


def found_in(book: Logbook) -> tuple[Any, ...]:
    with book.register.reading() as session:
        (build,) = builds.builds_of(session, "E1")
        (run,) = runs.list_runs(session)
        return (
            events.list_events(session),
            builds.surface_of(session, build),
            (run.samples, run.duration_s, run.warnings, run.channels),
            exposures.exposure_of(session, run.run_id),
        )


def test_a_log_packed_and_plain_is_one_run(book: Logbook, tmp_path: Path) -> None:
    data = (HEADER + rows_of(500)).encode()
    packed, plain = tmp_path / "a.csv.gz", tmp_path / "a.csv"
    packed.write_bytes(gzip.compress(data))
    plain.write_bytes(data)
    first = ingest_log(book, packed, FOR_E1)
    assert first.status == "ingested"
    again = ingest_log(book, plain, FOR_E1)
    assert (again.status, again.run_id) == ("duplicate", first.run_id)
    with book.register.reading() as session:
        (run,) = runs.list_runs(session)
    assert run.source_sha256 is not None
    assert book.read_original(run.source_sha256) == data
    assert verify(book).faults == ()


def test_a_run_of_many_parts_is_judged_as_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "long.csv"
    log.write_text(HEADER + rows_of(12_000), encoding="utf-8")
    whole = new_book(tmp_path / "whole")
    ingest_log(whole, log, FOR_E1)
    expected = found_in(whole)
    monkeypatch.setattr("babbitt.ingest.read.MOST_SAMPLES", 1500)
    monkeypatch.setattr("babbitt.ingest.text.parse.BLOCK_BYTES", 9000)
    monkeypatch.setattr("babbitt.ingest.columns.store.MEMORY_BYTES", 50_000)
    cut = new_book(tmp_path / "cut")
    assert ingest_log(cut, log, FOR_E1).status == "ingested"
    found = found_in(cut)
    assert len(expected[0]) >= 4
    assert found[:3] == expected[:3]
    assert found[3].starts == expected[3].starts
    assert found[3].revolutions == pytest.approx(expected[3].revolutions)
    with cut.register.writing() as session:
        engines.set_spec(session, "E1", SPEC.replace("redline_rpm = 7600", "redline_rpm = 6900"))
    assert len(judge_engine(cut, "E1").judged) == 1
    assert verify(cut).faults == ()


@pytest.mark.parametrize("zeros", [0, 5000])
def test_a_log_that_lost_its_power_is_taken_up_to_there(
    zeros: int, book: Logbook, tmp_path: Path
) -> None:
    log = tmp_path / "cut.csv"
    rows = rows_of(300)
    log.write_bytes((HEADER + rows)[:-3].encode() + b"\0" * zeros)
    long_ago = time.time() - 10 * log_bytes.UNDER_WAY_S
    os.utime(log, (long_ago, long_ago))
    intake = ingest_log(book, log, FOR_E1)
    assert (intake.status, intake.rows) == ("ingested", 299)
    said = " ".join(intake.warnings)
    assert "Line 302, the last, breaks off in a number; left out." in said
    assert ("5,000" in said) == (zeros > 0)


def test_a_log_that_changes_while_it_is_taken_in_is_left_for_later(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "a.csv"
    log.write_text(HEADER + rows_of(300), encoding="utf-8")
    before = state_of(book.root)

    def grown(*_: object) -> None:
        with log.open("a") as file:
            file.write("30.0,4000,300,90,0\n")

    with monkeypatch.context() as growing:
        growing.setattr("babbitt.logbook.run_file.RunWriter.finish", grown)
        intake = ingest_log(book, log, FOR_E1)
    assert (intake.status, intake.later) == ("refused", True)
    assert "still being written" in str(intake.error)
    assert state_of(book.root) == before
    assert ingest_log(book, log, FOR_E1).status == "ingested"


@pytest.mark.parametrize(
    "at",
    [
        "babbitt.jobs.ingest.read_into",
        "babbitt.logbook.run_file.RunWriter.write",
        "babbitt.logbook.run_file.RunWriter.finish",
        "babbitt.register.records.runs.record_run",
    ],
)
def test_an_interrupt_leaves_the_logbook_as_it_was(at: str, book: Logbook, tmp_path: Path) -> None:
    log = tmp_path / "long.csv"
    time_s = np.arange(100_000) / 100.0
    rpm = 4000.0 + 500.0 * np.round(np.sin(time_s / 3), 3)
    pa.csv.write_csv(pa.table({"Time (s)": time_s, "RPM": rpm, "Lat G (g)": rpm / 1e4}), log)
    before = state_of(book.root)
    reached = tmp_path / "reached"
    command = [sys.executable, "-c", INGEST, *map(str, (book.root, log, reached)), at]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        until = time.monotonic() + 60.0
        while not reached.exists():
            assert time.monotonic() < until, "it never came there"
            time.sleep(0.01)
        process.send_signal(signal.SIGINT)
        out, error = process.communicate(timeout=60)
    assert b"KeyboardInterrupt" in error, out
    assert process.returncode != 0
    assert state_of(book.root) == before
    assert list(book.root.glob(".*")) == []
    again = open_logbook(book.root)
    assert verify(again).faults == ()
    with again.register.reading() as session:
        assert runs.list_runs(session) == ()
