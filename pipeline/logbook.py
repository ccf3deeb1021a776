"""The logbook: the folder that holds a team's data, and how its files are written.

::

    logbook.toml                        settings and logger profiles
    register.sqlite                     engines, builds, runs, events, reviews, journal
    originals/<2 digits>/<sha256>.zst   every log as it came, byte for byte, zstd
    runs/engine=<id>/<run_id>.parquet   every run, normalised, zstd
    photos/<2 digits>/<sha256>.jpg      every photo of a finding, and its thumbnail

A file appears under its name only when it is whole and on the disk.
"""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.errors import LogbookError
from pipeline.register import URL
from pipeline.register.store import Register, sqlite_url
from pipeline.run import Run, run_from_table, run_to_table
from pipeline.settings import Settings, UnitSystem, parse_settings

SETTINGS_FILE = "logbook.toml"
REGISTER_FILE = "register.sqlite"
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Logbook:
    """An open logbook.

    Attributes:
        root: its folder.
        settings: of its logbook.toml.
        register: its records.
    """

    root: Path
    settings: Settings
    register: Register

    def run_path(self, engine_id: str, run_id: str) -> Path:
        """Where a run of an engine lies."""
        return self.root / "runs" / f"engine={engine_id}" / f"{run_id}.parquet"

    def original_path(self, sha256: str) -> Path:
        """Where the log with this SHA-256 is kept."""
        return self.root / "originals" / sha256[:2] / f"{sha256}.zst"

    def photo_path(self, name: str) -> Path:
        """Where the photo that findings list as `name` is kept."""
        return self.root / "photos" / name[:2] / name

    def thumbnail_path(self, name: str) -> Path:
        """Where the thumbnail of the photo that findings list as `name` is kept."""
        return self.photo_path(name).with_suffix(".thumbnail.jpg")

    def read_run(self, engine_id: str, run_id: str, channels: Sequence[str] | None = None) -> Run:
        """Return a run; with `channels`, only those of them that it has.

        Raises:
            LogbookError: the file is missing or damaged.
        """
        path = self.run_path(engine_id, run_id)
        try:
            return run_from_table(_read_columns(path, channels))
        except FileNotFoundError as error:
            raise LogbookError(
                f"The run {run_id} is in the register but {path} is missing: restore the file "
                "from a backup, or ingest the log again after `babbitt run remove`."
            ) from error
        except (pa.ArrowException, OSError, KeyError) as error:
            raise LogbookError(f"{path} is damaged and cannot be read ({error}).") from error

    def read_original(self, sha256: str) -> bytes:
        """Return a kept log, byte for byte.

        Raises:
            LogbookError: the file is missing or damaged.
        """
        path = self.original_path(sha256)
        try:
            with pa.input_stream(str(path), compression="zstd") as stream:
                data: bytes = stream.read()
        except (pa.ArrowException, OSError) as error:
            raise LogbookError(f"The kept log {path} cannot be read ({error}).") from error
        return data


def settings_text(units: UnitSystem = "metric", timezone: str = "UTC") -> str:
    """Return the logbook.toml of a new logbook, with an example of what else may stand in it."""
    return _SETTINGS_TEXT.format(units=units, timezone=timezone)


def create_logbook(root: Path, settings: str) -> Logbook:
    """Make a new logbook.

    Args:
        root: its folder, new or empty.
        settings: its logbook.toml.

    Raises:
        LogbookError: the folder is in use, is a file or cannot be written.
        SettingsError: the settings cannot be used.
    """
    parsed = parse_settings(settings, source=SETTINGS_FILE)
    if (root / SETTINGS_FILE).exists():
        raise LogbookError(f"{root} is a logbook already.")
    _refuse_used(root)
    with saying_what_failed(f"cannot make a logbook in {root}"):
        root.mkdir(parents=True, exist_ok=True)
        Register.open(_register_url(root, parsed), create=True).close()
        with whole_file(root / SETTINGS_FILE) as path:
            path.write_text(settings, encoding="utf-8")
    return open_logbook(root)


def open_logbook(root: Path) -> Logbook:
    """Open the logbook in `root`.

    Raises:
        LogbookError: there is none, it is damaged or newer than this program.
        SettingsError: its logbook.toml cannot be used.
    """
    settings = read_settings(root)
    with saying_what_failed(f"cannot open the logbook in {root}"):
        register = Register.open(_register_url(root, settings), create=False)
    return Logbook(root, settings, register)


def read_settings(root: Path) -> Settings:
    """Read the settings of the logbook in `root`.

    Raises:
        LogbookError: there is none, or it cannot be read.
        SettingsError: its logbook.toml cannot be used.
    """
    path = root / SETTINGS_FILE
    if not path.is_file():
        raise LogbookError(
            f"{root} is not a logbook (it has no {SETTINGS_FILE}): name one with --logbook, "
            "or make one with `babbitt init DIR`."
        )
    with saying_what_failed(f"cannot read {path}"):
        return parse_settings(path.read_text(encoding="utf-8"), source=str(path))


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Yield a temporary path beside `path` that becomes `path` on success, and vanishes otherwise.

    The bytes are on the disk before the name is: a power cut leaves the old state or the new.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        _sync(temporary)
        temporary.replace(path)
        _sync(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


@contextlib.contextmanager
def whole_folder(path: Path) -> Iterator[Path]:
    """Yield a new folder that becomes `path` on success, and vanishes otherwise.

    Who writes files in it sees to it that they are on the disk.

    Raises:
        LogbookError: `path` is a file, or a folder with something in it.
    """
    _refuse_used(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".", suffix=".part") as temporary:
        folder = Path(temporary) / "folder"
        folder.mkdir()
        yield folder
        if path.exists():
            path.rmdir()
        folder.replace(path)
        _sync(path.parent)


def write_run(run: Run, path: Path) -> None:
    """Write a run as Parquet; see `whole_file` for making that atomic."""
    table = run_to_table(run)
    # Flags nearly always repeat; measured values hardly ever, but their high bytes do: split by
    # byte they take less room, and two thirds of the time to compress.
    flags = [name for name in table.column_names if name.endswith("_flag")]
    values = [name for name in table.column_names if not name.endswith("_flag")]
    pq.write_table(
        table,
        path,
        compression="zstd",
        compression_level=1,
        use_dictionary=flags,
        use_byte_stream_split=values,
        write_statistics=False,
        row_group_size=1 << 20,
    )


def write_original(data: memoryview, path: Path) -> None:
    """Write a log's bytes, zstd-compressed."""
    with pa.OSFile(str(path), "wb") as sink, pa.CompressedOutputStream(sink, "zstd") as stream:
        for start in range(0, len(data), _BLOCK):
            stream.write(data[start : start + _BLOCK])


@contextlib.contextmanager
def saying_what_failed(what: str) -> Iterator[None]:
    """Turn an operating system's refusal into a sentence that begins with `what`.

    Raises:
        LogbookError: instead of any OSError.
    """
    try:
        yield
    except OSError as error:
        reason = {
            errno.ENOSPC: "the disk is full; free some space and repeat the command",
            errno.EDQUOT: "the disk quota is used up; free some space and repeat the command",
            errno.EACCES: "permission denied",
            errno.EROFS: "the disk is read-only",
        }.get(error.errno or 0, str(error.strerror or error))
        raise LogbookError(f"{what[0].upper() + what[1:]}: {reason}.") from error


def _register_url(root: Path, settings: Settings) -> URL | str:
    return settings.register_url or sqlite_url(root / REGISTER_FILE)


def _refuse_used(folder: Path) -> None:
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise LogbookError(f"{folder} is not an empty folder: choose a new one.")


def _read_columns(path: Path, channels: Sequence[str] | None) -> pa.Table:
    with pq.ParquetFile(path, memory_map=True) as file:
        if channels is None:
            return file.read()
        have = set(file.schema_arrow.names)
        wanted = [name for name in channels if name in have]
        return file.read(["time_s", *(c for name in wanted for c in (name, f"{name}_flag"))])


def _sync(path: Path) -> None:
    """Force a file, or a folder's entries, to the disk."""
    if path.is_dir() and os.name == "nt":
        return  # Windows cannot open a folder; its file system logs renames itself
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


_SETTINGS_TEXT = """\
# Settings of this logbook. Times in logs without a zone are read in `timezone`;
# `units` are what you are shown, storage stays canonical.
schema_version = 1
units = "{units}"
timezone = "{timezone}"

# What the files of one logger leave unsaid (`babbitt inspect LOG` prints a ready table):
# [profile.paddock]
# columns = {{"Ch 7" = "oil_pressure"}}
# units = {{oil_pressure = "psi"}}
# lateral_positive = "right"
"""
