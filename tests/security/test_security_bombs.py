"""What a small file can unfold into: little memory, little time, one sentence."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import bombs
import small_logs
from babbitt.jobs.back_up import restore
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.register.records import engines
from babbitt.teardown.photos import prepare_photo
from bounded import Ended, bounded, command
from invented import SPEC

LOGS: dict[str, Callable[[], bytes]] = {
    "one-line.csv.gz": lambda: bombs.gzip_of(bombs.blocks(b"a")),
    "one-line.csv.zst": lambda: bombs.zstd_of(bombs.blocks(b"a")),
    "one-line.zip": lambda: bombs.zip_of("a.csv", bombs.blocks(b"a")),
    "lines.csv.gz": lambda: bombs.gzip_of(bombs.blocks(b"\n")),
    "commas.csv.gz": lambda: bombs.gzip_of(bombs.blocks(b",")),
    "quotes.csv.zst": lambda: bombs.zstd_of(bombs.blocks(b'"')),
    "rows.csv.zst": lambda: bombs.zstd_of(bombs.blocks(b"1,2\n")),
    "zeros.csv.gz": lambda: bombs.gzip_of(bombs.blocks(b"\0")),
    "header.csv.gz": lambda: bombs.gzip_of(bombs.blocks(b"a,b,", 200)),
    "bz2.zip": lambda: bombs.zip_of("a.csv", bombs.blocks(b"a"), zipfile.ZIP_BZIP2),
    "lzma.zip": lambda: bombs.zip_that_asks_for_memory("a.csv"),
    "nested.zip": lambda: bombs.zip_of("a.zip", iter([bombs.zip_of("b.csv", bombs.blocks(b"a"))])),
}


def ingested(folder: Path, log: Path) -> tuple[int, str, str]:
    book = create_logbook(folder / "book", settings_text())
    with book.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    return command("--logbook", book.root, "ingest", log, "--engine", "E1")


@pytest.mark.parametrize("name", LOGS)
def test_a_log_that_unfolds_is_refused_in_a_sentence(tmp_path: Path, name: str) -> None:
    log = tmp_path / name
    log.write_bytes(LOGS[name]())
    os.utime(log, (1_780_000_000, 1_780_000_000))
    assert log.stat().st_size < 8_000_000
    ended = bounded(ingested, tmp_path, log)
    status, _, said = ended.value
    assert status == 1
    assert "Traceback" not in said
    assert name in said.replace("\n", "")


@pytest.mark.parametrize("leaps_to_s", [2.5e6, 1.0e8, 1.7e9, 1.0e15], ids="{:g} s".format)
def test_a_clock_that_leaps_takes_no_more_room_than_its_samples(
    tmp_path: Path, leaps_to_s: float
) -> None:
    rows = [f"{t:.1f},4000,400,90" for i in range(600) for t in (i / 10 + (i > 300) * leaps_to_s,)]
    log = tmp_path / "a.csv"
    log.write_text(small_logs.text_of("2026-05-01T10:00:00Z", rows), encoding="utf-8")
    status, _, said = bounded(ingested, tmp_path, log).value
    assert status == 0, said


def photo(data: bytes) -> tuple[int, int]:
    made = prepare_photo(data, name="shell.png")
    return made.width, made.height


@pytest.mark.parametrize("colour", [0, 2, 4, 6])
def test_a_photo_that_unfolds_takes_bounded_memory(colour: int) -> None:
    depth = 16 if colour in (0, 6) else 8
    data = bombs.png(7700, 7700, depth=depth, colour=colour)
    assert len(data) < 500_000
    assert bounded(photo, data).value == (7700, 7700)


def test_a_photo_of_too_many_pixels_is_refused_unread() -> None:
    ended = bounded(photo, bombs.png(30_000, 2_001, colour=0))
    assert "pixels" in ended.said
    assert ended.refused


def test_a_photo_of_many_layers_is_refused_unread() -> None:
    ended = bounded(photo, bombs.layered_jpeg(2_000))
    assert ended.refused
    assert "layers" in ended.said
    assert ended.seconds < 1.0


@pytest.mark.parametrize(
    "data",
    [
        bombs.gzip_of(bombs.blocks(b"\0", 3)),
        bombs.tar_of({"logbook.toml": b""}),
        bombs.tar_of({"babbitt-backup.json": b"[" * 100_000}),
        bombs.tar_of({"babbitt-backup.json": b'{"version":' + b"9" * 10_000 + b"}"}),
    ],
)
def test_a_backup_that_is_none_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "book.tar"
    path.write_bytes(data)
    ended: Ended = bounded(restore, path, tmp_path / "new")
    assert ended.refused
    assert "book.tar" in ended.said
    assert not (tmp_path / "new").exists()
