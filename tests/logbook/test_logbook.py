"""The logbook's folder: whole files or none, and what is said when one is damaged."""

from __future__ import annotations

import errno
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from babbitt.errors import LogbookError
from babbitt.logbook.folder import (
    Logbook,
    create_logbook,
    open_logbook,
    saying_what_failed,
    settings_text,
    write_original,
)
from babbitt.logbook.run_file import RunWriter
from babbitt.logbook.safe_files import whole_file
from babbitt.model.run import Run, RunInfo, Signal
from run_files import write_run


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return create_logbook(tmp_path / "book", settings_text())


def make_run() -> Run:
    time_s = np.arange(100) / 10.0
    values = np.linspace(1000.0, 8000.0, 100, dtype=np.float32)
    flags = np.ones(100, dtype=np.uint8)
    flags[3] = 9
    info = RunInfo(
        run_id="r1",
        engine_id="E1",
        started_at=datetime(2026, 5, 3, 10, tzinfo=UTC),
        start_basis="log",
        source_name="a.csv",
        source_sha256="0" * 64,
        dialect=("comma",),
        conversions=(),
        warnings=("a warning",),
        max_gap_s=0.5,
    )
    signals = {
        "rpm": Signal(values, flags, "1/min", 10.0, "RPM"),
        "fuel level": Signal(values, flags, "l", 1.0, "Fuel level"),
    }
    return Run(info, time_s, signals)


def test_a_run_is_read_back_as_it_was_written(book: Logbook) -> None:
    run = make_run()
    with whole_file(book.root / book.run_name("E1", "r1")) as part:
        write_run(run, part)
    back = book.read_run("E1", "r1")
    assert back.info == run.info
    np.testing.assert_array_equal(back.time_s, run.time_s)
    assert list(back.signals) == list(run.signals)
    for name, signal in run.signals.items():
        np.testing.assert_array_equal(back.signals[name].values, signal.values)
        np.testing.assert_array_equal(back.signals[name].flags, signal.flags)
        assert replace(back.signals[name], values=signal.values, flags=signal.flags) == signal


@pytest.mark.parametrize("parts", [1, 2])
def test_a_part_that_cannot_be_written_is_raised_however_late_it_fails(
    parts: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        time.sleep(0.05)
        raise OSError(errno.ENOSPC, "No space left on device")

    def write() -> None:
        with RunWriter(tmp_path / "run.parquet") as writer:
            for _ in range(parts):
                writer.write(run)
            writer.finish(run.info)

    run = make_run()
    monkeypatch.setattr(pq.ParquetWriter, "write_table", full)
    with pytest.raises(OSError, match="No space"):
        write()


def test_a_run_can_be_read_in_part(book: Logbook) -> None:
    with whole_file(book.root / book.run_name("E1", "r1")) as part:
        write_run(make_run(), part)
    assert list(book.read_run("E1", "r1", ["rpm", "boost"]).signals) == ["rpm"]


def test_any_parquet_reader_finds_the_columns_of_the_contract(book: Logbook) -> None:
    path = book.root / book.run_name("E1", "r1")
    with whole_file(path) as part:
        write_run(make_run(), part)
    schema = pq.read_schema(path)
    assert [(field.name, str(field.type)) for field in schema][:3] == [
        ("time_s", "double"),
        ("rpm", "float"),
        ("rpm_flag", "uint8"),
    ]
    assert schema.field("rpm").metadata[b"unit"] == b"1/min"


def test_a_log_is_kept_byte_for_byte(book: Logbook) -> None:
    data = bytes(range(256)) * 10_000
    with whole_file(book.root / book.original_name("ab" * 32)) as part:
        write_original([data[:1000], data[1000:]], part)
    assert book.read_original("ab" * 32) == data


def test_a_file_that_was_not_finished_leaves_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "a" / "file"
    with whole_file(path) as part:
        part.write_text("old")

    def fail() -> None:
        with whole_file(path) as part:
            part.write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert path.read_text() == "old"
    assert list(path.parent.iterdir()) == [path]


def test_a_damaged_or_missing_run_is_said_to_be(book: Logbook) -> None:
    path = book.root / book.run_name("E1", "r1")
    with pytest.raises(LogbookError, match="is missing"):
        book.read_run("E1", "r1")
    with whole_file(path) as part:
        write_run(make_run(), part)
    path.write_bytes(path.read_bytes()[:-10])
    with pytest.raises(LogbookError, match="is damaged"):
        book.read_run("E1", "r1")


def test_a_parquet_file_that_is_no_run_is_said_to_be(book: Logbook, tmp_path: Path) -> None:
    path = book.root / book.run_name("E1", "r1")
    path.parent.mkdir(parents=True)
    import pyarrow as pa

    pq.write_table(pa.table({"a": [1]}), path)
    with pytest.raises(LogbookError, match="is not a run"):
        book.read_run("E1", "r1")


def test_a_run_of_a_newer_program_is_refused_unharmed(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = book.root / book.run_name("E1", "r1")
    with monkeypatch.context() as newer, whole_file(path) as part:
        newer.setattr("babbitt.model.run.SCHEMA_VERSION", 99)
        write_run(make_run(), part)
    with pytest.raises(LogbookError, match="schema version 99"):
        book.read_run("E1", "r1")


def test_a_logbook_is_found_again_with_its_settings(tmp_path: Path) -> None:
    create_logbook(tmp_path / "b", settings_text("imperial", "Europe/Paris"))
    settings = open_logbook(tmp_path / "b").settings
    assert (settings.units, settings.timezone) == ("imperial", "Europe/Paris")


def test_a_logbook_without_its_register_is_not_made_anew(book: Logbook) -> None:
    book.register.close()
    (book.root / "register.sqlite").unlink()
    with pytest.raises(LogbookError, match="There is no register"):
        open_logbook(book.root)


def test_an_operating_systems_refusal_becomes_a_sentence() -> None:
    words = r"^Cannot write it: the disk is full; free some space"
    with pytest.raises(LogbookError, match=words), saying_what_failed("cannot write it"):
        raise OSError(28, "No space left on device")
