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
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.errors import LogbookError, SettingsError
from pipeline.register import URL
from pipeline.register.store import Register, sqlite_url
from pipeline.run import Run, RunInfo, info_metadata, run_from_table, run_to_table
from pipeline.settings import Settings, UnitSystem, parse_settings

SETTINGS_FILE = "logbook.toml"
REGISTER_FILE = "register.sqlite"
KEPT_FOLDERS = ("originals", "runs", "photos")
INCOMING = ".incoming-"
"""Begins the names of folders for logs that are not recorded yet."""
_ROW_GROUP = 1 << 20
"""Most samples in a row group of a run's file; a part of a run is one or more."""


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

    def __reduce__(self) -> tuple[Callable[[Path], Logbook], tuple[Path]]:
        """Let another process that is handed a logbook open it, once."""
        return _opened_here, (self.root.absolute(),)

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
        with _saying_what_is_wrong(path, run_id), pq.ParquetFile(path, memory_map=True) as file:
            return run_from_table(file.read(_columns(file, channels)))

    def run_parts(
        self, engine_id: str, run_id: str, channels: Sequence[str] | None = None
    ) -> Iterator[Run]:
        """Yield a run part by part; with `channels`, only those of them that it has.

        Raises:
            LogbookError: the file is missing or damaged.
        """
        path = self.run_path(engine_id, run_id)
        with _saying_what_is_wrong(path, run_id), pq.ParquetFile(path) as file:
            columns = _columns(file, channels)
            for group in range(file.num_row_groups):
                yield run_from_table(file.read_row_group(group, columns))

    def read_original(self, sha256: str) -> bytes:
        """Return a kept log, byte for byte.

        Raises:
            LogbookError: the file is missing or damaged.
        """
        what = f"cannot read the kept log {self.original_path(sha256)}"
        with saying_what_failed(what), self.open_original(sha256) as stream:
            return stream.read()

    def open_original(self, sha256: str) -> BinaryIO:
        """Open a stream of a kept log's bytes; an OSError where the file is missing or damaged."""
        stream: BinaryIO = pa.input_stream(str(self.original_path(sha256)), compression="zstd")
        return stream


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


@cache
def _opened_here(root: Path) -> Logbook:
    return open_logbook(root)


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


def save_profile(root: Path, name: str, table: str) -> None:
    """Add a logger profile to the logbook.toml in `root`; what stands there stays as it is.

    Args:
        root: folder of the logbook.
        name: of the profile.
        table: its `[profile.NAME]`, in TOML.

    Raises:
        LogbookError: there is no logbook, or its settings cannot be written.
        SettingsError: it has a profile of that name, or cannot be used with this one.
    """
    if name in read_settings(root).profile:
        raise SettingsError(
            f"{SETTINGS_FILE} has a [profile.{name}] already: choose another name, or take that "
            "one out of the file first."
        )
    path = root / SETTINGS_FILE
    with saying_what_failed(f"cannot write {path}"):
        text = path.read_bytes().decode()
        text = f"{text.rstrip()}\n\n{table}"
        parse_settings(text, source=str(path))
        with whole_file(path) as temporary:
            temporary.write_bytes(text.encode())
            shutil.copymode(path, temporary)


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
        sync(temporary)
        place_file(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def place_file(written: Path, path: Path) -> None:
    """Give a file of the logbook's disk, whose bytes are on it, its name `path`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    written.replace(path)
    sync(path.parent)


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
        sync(path.parent)


class RunWriter:
    """Writes a run as Parquet, part by part; see `whole_file` for making that atomic."""

    def __init__(self, path: Path) -> None:
        """Begin an empty file.

        Args:
            path: of the file.
        """
        self._path = path
        self._files = contextlib.ExitStack()
        self._writer: pq.ParquetWriter | None = None

    def __enter__(self) -> RunWriter:
        return self

    def __exit__(self, *failed: object) -> None:
        self._files.close()

    def write(self, part: Run) -> None:
        """Write the next part."""
        table = run_to_table(part).replace_schema_metadata(None)
        if self._writer is None:
            # Flags nearly always repeat; measured values hardly ever, but their high bytes do:
            # split by byte they take less room, and two thirds of the time to compress.
            flags = [name for name in table.column_names if name.endswith("_flag")]
            self._writer = self._files.enter_context(
                pq.ParquetWriter(
                    self._path,
                    table.schema,
                    compression="zstd",
                    compression_level=1,
                    use_dictionary=flags,
                    use_byte_stream_split=[n for n in table.column_names if n not in flags],
                    write_statistics=False,
                )
            )
        self._writer.write_table(table, row_group_size=_ROW_GROUP)

    def passing(self, parts: Iterable[Run]) -> Iterator[Run]:
        """Yield parts, each once it is written."""
        for part in parts:
            self.write(part)
            yield part

    def finish(self, info: RunInfo) -> None:
        """Write what the run says of itself, once all of its parts were."""
        if self._writer is None:
            raise ValueError("a run without parts cannot be written")
        self._writer.add_key_value_metadata(info_metadata(info))
        self._files.close()


def write_run(run: Run, path: Path) -> None:
    """Write a run as Parquet; see `whole_file` for making that atomic."""
    with RunWriter(path) as writer:
        writer.write(run)
        writer.finish(run.info)


def write_original(blocks: Iterable[bytes | memoryview], path: Path) -> None:
    """Write a log's bytes, block after block, zstd-compressed."""
    with pa.OSFile(str(path), "wb") as sink, pa.CompressedOutputStream(sink, "zstd") as stream:
        for block in blocks:
            stream.write(block)


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


def _columns(file: pq.ParquetFile, channels: Sequence[str] | None) -> list[str] | None:
    """Return the columns of the channels that a run has; None for all."""
    if channels is None:
        return None
    have = set(file.schema_arrow.names)
    wanted = [name for name in channels if name in have]
    return ["time_s", *(c for name in wanted for c in (name, f"{name}_flag"))]


@contextlib.contextmanager
def _saying_what_is_wrong(path: Path, run_id: str) -> Iterator[None]:
    """Turn what goes wrong as the file of a run is read into a sentence.

    Raises:
        LogbookError: the file is missing or damaged.
    """
    try:
        yield
    except FileNotFoundError as error:
        raise LogbookError(
            f"The run {run_id} is in the register but {path} is missing: restore the file "
            "from a backup, or ingest the log again after `babbitt run remove`."
        ) from error
    except (pa.ArrowException, OSError, KeyError) as error:
        raise LogbookError(f"{path} is damaged and cannot be read ({error}).") from error


def sync(path: Path) -> None:
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
