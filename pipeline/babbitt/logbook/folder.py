"""The logbook: the folder that holds a team's data, and how its files are written.

::

    logbook.toml                        settings and logger profiles
    register.sqlite                     engines, builds, runs, events, reviews, journal
    originals/<2 digits>/<sha256>.zst   every log as it came, byte for byte, zstd
    runs/engine=<id>/<run_id>.parquet   every run, normalised, zstd
    photos/<2 digits>/<sha256>.jpg      every photo of a finding, and its thumbnail

A file appears under its name only when it is whole and on the disk. Originals and runs may lie in a
store elsewhere, under the same names (`files` in logbook.toml).
"""

from __future__ import annotations

import contextlib
import errno
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from babbitt.errors import LogbookError, Remedy, RunFileError, SettingsError
from babbitt.logbook.safe_files import make_folder, place_file, sync, whole_file
from babbitt.logbook.settings import Settings, UnitSystem, parse_settings
from babbitt.register import URL
from babbitt.register.tables.store import Register, sqlite_url

if TYPE_CHECKING:  # slow to import, and few commands need them
    import pyarrow.parquet as pq

    from babbitt.logbook.file_store import FileStore
    from babbitt.model.run import Run

SETTINGS_FILE = "logbook.toml"
REGISTER_FILE = "register.sqlite"
STORED_FOLDERS = ("originals", "runs")
PHOTO_FOLDER = "photos"
OWNER_ONLY = 0o700
"""Mode of the folder of a new logbook; one that is there keeps its own, and what comes to lie in it
is as open to others as it is."""
INCOMING = ".incoming-"
"""Begins the names of folders for logs that are not recorded yet."""


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

    @cached_property
    def files(self) -> FileStore:
        """Store of its originals and runs.

        Raises:
            SettingsError: the settings name one that cannot be used.
        """
        from babbitt.logbook.file_store import elsewhere, on_disk

        return elsewhere(self.settings.files) if self.settings.files else on_disk(self.root)

    def __reduce__(self) -> tuple[Callable[[Path], Logbook], tuple[Path]]:
        """Let another process that is handed a logbook open it, once."""
        return _opened_here, (self.root.absolute(),)

    def run_name(self, engine_id: str, run_id: str) -> str:
        """Name of the file of a run of an engine."""
        return f"runs/engine={engine_id}/{run_id}.parquet"

    def original_name(self, sha256: str) -> str:
        """Name of the file in which the log with this SHA-256 is kept."""
        return f"originals/{sha256[:2]}/{sha256}.zst"

    def photo_path(self, name: str) -> Path:
        """Where the photo that findings list as `name` is kept."""
        return self.root / PHOTO_FOLDER / name[:2] / name

    def thumbnail_path(self, name: str) -> Path:
        """Where the thumbnail of the photo that findings list as `name` is kept."""
        return self.photo_path(name).with_suffix(".thumbnail.jpg")

    def read_run(self, engine_id: str, run_id: str, channels: Sequence[str] | None = None) -> Run:
        """Return a run; with `channels`, only those of them that it has.

        Raises:
            RunFileError: the file is missing or damaged.
        """
        from babbitt.model.run import run_from_table

        with self.run_file(engine_id, run_id, mapped=True) as file:
            return run_from_table(file.read(_columns(file, channels)))

    def run_parts(
        self, engine_id: str, run_id: str, channels: Sequence[str] | None = None
    ) -> Iterator[Run]:
        """Yield a run part by part; with `channels`, only those of them that it has.

        Raises:
            RunFileError: the file is missing or damaged.
        """
        from babbitt.model.run import run_from_table

        with self.run_file(engine_id, run_id) as file:
            columns = _columns(file, channels)
            for group in range(file.num_row_groups):
                yield run_from_table(file.read_row_group(group, columns))

    def run_stamp(self, engine_id: str, run_id: str) -> int:
        """Return what changes whenever the file of a run does; 0 where there is none.

        Raises:
            LogbookError: nobody can tell.
        """
        name = self.run_name(engine_id, run_id)
        with saying_what_failed(f"cannot look for {self.files.shown(name)}"):
            return self.files.stamp(name)

    def read_original(self, sha256: str) -> bytes:
        """Return a kept log, byte for byte.

        Raises:
            LogbookError: the file is missing or damaged.
        """
        what = f"cannot read the kept log {self.files.shown(self.original_name(sha256))}"
        with saying_what_failed(what), self.open_original(sha256) as stream:
            return stream.read()

    def open_original(self, sha256: str) -> BinaryIO:
        """Open a stream of a kept log's bytes; an OSError where the file is missing or damaged."""
        import pyarrow as pa

        file = self.files.open(self.original_name(sha256))
        stream: BinaryIO = pa.CompressedInputStream(file, "zstd")
        return stream

    @contextlib.contextmanager
    def run_file(
        self, engine_id: str, run_id: str, *, mapped: bool = False
    ) -> Iterator[pq.ParquetFile]:
        """Yield the file of a run; what goes wrong as it is read becomes a sentence.

        Raises:
            RunFileError: the file is missing or damaged.
        """
        import pyarrow as pa
        import pyarrow.parquet as pq

        from babbitt.logbook.run_file import refuse_unfolding

        name = self.run_name(engine_id, run_id)
        path = self.files.shown(name)
        try:
            with self.files.open(name, mapped=mapped) as source:
                # From a store, many small requests would take longest.
                file = pq.ParquetFile(source, pre_buffer=not self.files.on_disk)
                refuse_unfolding(file, source.size())
                yield file
        except FileNotFoundError as error:
            raise RunFileError(
                f"The run {run_id} is in the register but {path} is missing: restore the file "
                "from a backup, or remove the run and take its log in again.",
                Remedy("remove_run", run_id),
            ) from error
        except (pa.ArrowException, OSError, KeyError, LogbookError) as error:
            what = "is damaged and" if self.files.on_disk else "is damaged, or its store lost, and"
            reason = str(error).removesuffix(".")
            raise RunFileError(f"{path} {what} cannot be read ({reason}).") from error


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
        if not root.exists():
            make_folder(root.parent)
            root.mkdir(mode=OWNER_ONLY)
        Register.open(_register_url(root, parsed), create=True).close()
        if (root / REGISTER_FILE).exists():
            place_file(root / REGISTER_FILE, root / REGISTER_FILE)
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
    book = Logbook(root, settings, register)
    if settings.files:
        book.files  # noqa: B018 - refuses an address that cannot be used
    return book


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
            f"{root} is not a logbook (it has no {SETTINGS_FILE}): name one that is, or make "
            "a new one.",
            Remedy("logbook"),
            Remedy("new_logbook"),
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
        with whole_file(path, mode=path.stat().st_mode & 0o777) as temporary:
            temporary.write_bytes(text.encode())


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


def write_original(blocks: Iterable[bytes | memoryview], path: Path) -> None:
    """Write a log's bytes, block after block, zstd-compressed."""
    import pyarrow as pa

    with pa.OSFile(str(path), "wb") as sink, pa.CompressedOutputStream(sink, "zstd") as stream:
        for block in blocks:
            stream.write(block)


@contextlib.contextmanager
def saying_what_failed(what: str) -> Iterator[None]:
    """Turn an operating system's refusal into a sentence that begins with `what`.

    Raises:
        LogbookError: instead of any OSError, and of text that is none.
    """
    try:
        yield
    except OSError as error:
        reason = {
            errno.ENOSPC: "the disk is full; free some space and repeat the command",
            errno.EDQUOT: "the disk quota is used up; free some space and repeat the command",
            errno.EIO: "the disk failed, or the way to it; see to that and repeat the command",
            errno.EACCES: "permission denied",
            errno.EROFS: "the disk is read-only",
        }.get(error.errno or 0, str(error.strerror or error))
        raise LogbookError(f"{what[0].upper() + what[1:]}: {reason}.") from error
    except UnicodeDecodeError as error:
        raise LogbookError(
            f"{what[0].upper() + what[1:]}: byte {error.start} of it is no text in UTF-8."
        ) from error


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


_SETTINGS_TEXT = """\
# Settings of this logbook. Times in logs without a zone are read in `timezone`;
# `units` are what you are shown, storage stays canonical.
schema_version = 1
units = "{units}"
timezone = "{timezone}"

# What the files of one logger leave unsaid (a preview of a log shows a ready table):
# [profile.paddock]
# columns = {{"Ch 7" = "oil_pressure"}}
# units = {{oil_pressure = "psi"}}
# lateral_positive = "right"
"""
