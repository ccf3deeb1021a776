"""Logs as they come: plain, packed, damaged, still being written."""

from __future__ import annotations

import gzip
import os
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest import log_bytes
from babbitt.ingest.log_bytes import open_log

LOG = b"time,rpm\n" + b"".join(b"%d.5,%d\n" % (i, 1000 + i * 7 % 911) for i in range(5000))


def gzipped(path: Path) -> None:
    path.write_bytes(gzip.compress(LOG[:9000]) + gzip.compress(LOG[9000:]))


def zstd(path: Path) -> None:
    with pa.CompressedOutputStream(pa.OSFile(str(path), "wb"), "zstd") as stream:
        stream.write(LOG)


def zipped(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("__MACOSX/._run.csv", b"x")
        archive.writestr("day 1/run.csv", LOG)


PACKERS = [gzipped, zstd, zipped]


def bytes_of(path: Path) -> bytes:
    with open_log(path) as log:
        return b"".join(log.blocks())


def refused(path: Path) -> LogRefusedError:
    with pytest.raises(LogRefusedError) as caught:
        bytes_of(path)
    assert str(path) in str(caught.value)
    return caught.value


@pytest.mark.parametrize("pack", PACKERS)
def test_a_packed_log_is_read_as_it_was(pack: Callable[[Path], None], tmp_path: Path) -> None:
    path = tmp_path / "whatever it is called"
    pack(path)
    assert bytes_of(path) == LOG


@pytest.mark.parametrize("pack", PACKERS)
def test_a_packed_log_that_is_cut_off_is_refused(
    pack: Callable[[Path], None], tmp_path: Path
) -> None:
    path = tmp_path / "run"
    pack(path)
    path.write_bytes(path.read_bytes()[:-40])
    assert "cannot be unpacked" in str(refused(path))


def test_a_zip_of_a_flipped_bit_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.zip"
    zipped(path)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 8
    path.write_bytes(data)
    assert "cannot be unpacked" in str(refused(path))


def test_a_zip_of_several_logs_is_refused_naming_them(tmp_path: Path) -> None:
    path = tmp_path / "season.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.csv", LOG)
        archive.writestr("b.csv", LOG)
    assert "2 files (a.csv, b.csv), not one log" in str(refused(path))
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(".hidden", LOG)
    assert "holds no file" in str(refused(path))


def test_what_unfolds_beyond_any_log_is_refused_early(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_bytes, "ALWAYS_ALLOWED", 1 << 20)
    path = tmp_path / "bomb.gz"
    path.write_bytes(gzip.compress(b"0,0\n" * 50_000_000))
    told: list[int] = []
    with open_log(path) as log, pytest.raises(LogRefusedError, match=r"than 0\.0 GB once unpacked"):
        list(log.blocks(told.append))
    assert told[-1] < path.stat().st_size


def test_how_far_it_was_read_is_told(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_bytes(LOG)
    told: list[int] = []
    with open_log(path) as log:
        for _ in log.blocks(told.append):
            pass
    assert told == sorted(told)
    assert told[-1] == len(LOG)


def test_a_log_that_grows_while_it_is_read_is_left_for_later(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_bytes(LOG)
    with open_log(path) as log:
        log.refuse_if_changed()
        with path.open("ab") as file:
            file.write(b"1,2\n")
        with pytest.raises(LogRefusedError, match="still being written") as caught:
            log.refuse_if_changed()
    assert caught.value.later


def test_a_log_just_written_that_ends_within_a_line_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_bytes, "UNDER_WAY_S", 0.4)
    path = tmp_path / "run.csv"
    path.write_bytes(LOG + b"9999.5,10")

    def go_on() -> None:
        time.sleep(0.1)
        with path.open("ab") as file:
            file.write(b"00\n")

    logger = threading.Thread(target=go_on)
    logger.start()
    assert refused(path).later
    logger.join()
    assert bytes_of(path) == LOG + b"9999.5,1000\n"


def test_an_old_log_that_ends_within_a_line_is_taken_at_once(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_bytes(LOG[:-1])
    os.utime(path, (1e9, 1e9))
    began = time.monotonic()
    assert bytes_of(path) == LOG[:-1]
    assert time.monotonic() - began < 1.0


def test_a_folder_an_empty_file_and_none_are_refused(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").touch()
    assert "is a folder" in str(refused(tmp_path))
    assert "is empty" in str(refused(tmp_path / "empty.csv"))
    assert "There is no file" in str(refused(tmp_path / "none.csv"))
