"""One file that holds a whole logbook, and a logbook made of it again.

The file is a tar archive: settings, a SQLite copy of the register, every original, run and photo
that the copy refers to, and last `babbitt-backup.json`, which lists them with their SHA-256. The
copy is taken first, and what comes in later is not in the backup; where a file that is in it was
moved or written anew meanwhile, the backup is begun again.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import tarfile
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

from babbitt.errors import LogbookError
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.verify import Verified, verify
from babbitt.logbook.file_store import FileStore, on_disk
from babbitt.logbook.folder import (
    OWNER_ONLY,
    REGISTER_FILE,
    SETTINGS_FILE,
    Logbook,
    open_logbook,
    saying_what_failed,
    whole_folder,
)
from babbitt.logbook.run_file import refuse_unfolding
from babbitt.logbook.safe_files import whole_file
from babbitt.logbook.settings import parse_settings
from babbitt.model.finding import PHOTO_NAME
from babbitt.register.backup import (
    REVISION,
    Kept,
    copy_register,
    kept_files,
    refuse_newer,
    refuse_programs,
    saying_unusable,
)
from babbitt.register.records import engines
from babbitt.register.tables.store import Register, sqlite_url

MANIFEST_FILE = "babbitt-backup.json"
FORMAT_VERSION = 1

Track = Callable[[Iterable[Any], int], Iterable[Any]]

_BLOCK = 1 << 20
_TRIES = 3
"""So often is a backup begun again because files that it should hold were moved meanwhile."""
_MOST_MANIFEST_BYTES = 1 << 28
_MOST_NAMED = 3
"""So many files are named in a sentence; of the others only their number."""
_UNREADABLE = (tarfile.TarError, ValueError, OverflowError)
"""What a file that is no archive, or a broken one, brings about."""
_NAME = re.compile(
    r"logbook\.toml|register\.sqlite"
    r"|originals/[0-9a-f]{2}/[0-9a-f]{64}\.zst"
    r"|runs/engine=[A-Za-z0-9._-]+/[0-9A-Za-z_-]+\.parquet"
    r"|photos/[0-9a-f]{2}/[0-9a-f]{64}(?:\.thumbnail)?\.(?:jpg|png)"
)
"""Every file that a backup may hold: none lies outside the folder it is restored to."""


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds.

    Attributes:
        files: how many.
        bytes: of all of them.
        missing: files that the register refers to and the logbook has lost.
    """

    files: int
    bytes: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class _Source:
    """Where a file of the backup comes from."""

    files: FileStore
    name: str


@dataclass(frozen=True)
class _Entry:
    """What the manifest says of a file."""

    sha256: str
    size: int


def back_up(book: Logbook, path: Path, *, track: Track = lambda items, _: items) -> BackedUp:
    """Write a logbook to one file, while others may be working on it.

    Args:
        book: the logbook.
        path: of the file, which must not be there yet; it appears when all is in it.
        track: passes the files through, and is told their number; for a progress bar.

    Raises:
        LogbookError: the file is there already, or cannot be written; or runs were moved about
            all the while.
    """
    if path.exists():
        raise LogbookError(f"{path} is there already: choose another name, or delete it first.")
    with (
        saying_what_failed(f"cannot write the backup {path}"),
        whole_file(path, mode=0o600) as part,
    ):
        for _ in range(_TRIES):
            with tempfile.TemporaryDirectory(dir=path.parent, prefix=".", suffix=".part") as beside:
                copy = Path(beside) / REGISTER_FILE
                copy_register(book.register, copy)
                with (
                    Register.open(sqlite_url(copy), create=False) as register,
                    register.reading() as session,
                ):
                    kept = kept_files(session)
                # Whoever gets a backup gets no password of the server with it.
                shutil.copyfile(book.root / SETTINGS_FILE, copy.with_name(SETTINGS_FILE))
                _settle_in(copy.with_name(SETTINGS_FILE), book.root)
                sources = {
                    SETTINGS_FILE: _Source(on_disk(copy.parent), SETTINGS_FILE),
                    REGISTER_FILE: _Source(on_disk(copy.parent), REGISTER_FILE),
                    **_files_of(book, kept),
                }
                done = _pack(sources, part, track)
            if _still_there(book, kept):
                return done
        raise LogbookError(
            f"Runs were moved all the while that {path} was written: repeat it when nobody works."
        )


def restore(path: Path, folder: Path, *, track: Track = lambda items, _: items) -> Verified:
    """Make a logbook of a backup, and verify it.

    A register that was on a server becomes a file in the logbook. A run that was on its way in when
    the backup was made is searched for events now.

    Args:
        path: the backup.
        folder: new or empty; it appears when all files are in it and have the right SHA-256.
        track: passes the files through, then the runs to verify, and is told their number; for a
            progress bar.

    Raises:
        LogbookError: it is no backup, not whole or of a newer program; or the folder is in use or
            cannot be written.
        SettingsError: its settings cannot be used by this program.
    """
    mode = folder.stat().st_mode & 0o2777 if folder.exists() else OWNER_ONLY
    with saying_what_failed(f"cannot restore {path}"), whole_folder(folder) as new:
        new.chmod(mode)
        try:
            with tarfile.open(path, "r:") as archive:
                entries = _read_manifest(archive, path)
                members = _members(archive, entries, path)
                for name in track(list(entries), len(entries)):
                    _unpack(archive, members[name], entries[name], new / name, path)
                    if name.endswith(".parquet"):
                        _refuse_unfolding(new / name, path)
        except _UNREADABLE as error:
            raise LogbookError(f"{path} is no whole backup of a logbook ({error}).") from error
        _settle_in(new / SETTINGS_FILE, path)
        refuse_programs(new / REGISTER_FILE, str(path))
    book = open_logbook(folder)
    with saying_unusable(str(path)):
        with book.register.reading() as session:
            names = [each.engine_id for each in engines.list_engines(session)]
        for engine_id in names:
            judge_engine(book, engine_id)
        return verify(book, track=track)


def without_server(settings: str) -> str:
    """Return a logbook.toml whose register and files lie beside it; keys end at the first table."""
    lines = settings.splitlines(keepends=True)
    for place, line in enumerate(lines):
        if line.lstrip().startswith("["):
            break
        if re.match(r"\s*register\s*=", line):
            lines[place] = "# Restored from a backup of a register on a server.\n"
        if re.match(r"\s*files\s*=", line):
            lines[place] = "# Restored from a backup of files in a store elsewhere.\n"
    return "".join(lines)


def _settle_in(settings: Path, path: Path) -> None:
    """Make the restored register the logbook's own.

    Raises:
        LogbookError: the settings name a server in a way that cannot be taken out.
        SettingsError: they cannot be used by this program.
    """
    text = without_server(settings.read_text(encoding="utf-8", errors="replace"))
    source = f"{SETTINGS_FILE} in {path}"
    parsed = parse_settings(text, source=source)
    if parsed.register_url is not None or parsed.files is not None:
        raise LogbookError(
            f"{source} names a register or files elsewhere where that cannot be taken out: write "
            "`register = ...` and `files = ...` on lines of their own there, and back up again."
        )
    with whole_file(settings) as part:
        part.write_text(text, encoding="utf-8")


def _files_of(book: Logbook, kept: Kept) -> dict[str, _Source]:
    """Return where the files that a register refers to lie, by their names in the logbook."""
    stored = [book.run_name(run.engine_id, run.run_id) for run in kept.runs]
    stored += [book.original_name(run.sha256) for run in kept.runs]
    named = [name for name in kept.photos if PHOTO_NAME.fullmatch(name)]
    photos = [book.photo_path(name) for name in named]
    # A thumbnail can be made anew of its photo, so one that is missing is no loss.
    photos += [small for small in map(book.thumbnail_path, named) if small.exists()]
    at_home = [photo.relative_to(book.root).as_posix() for photo in photos]
    at_home += sorted(set(kept.photos) - set(named))  # of a register from elsewhere
    home = on_disk(book.root)
    return {name: _Source(book.files, name) for name in stored} | {
        name: _Source(home, name) for name in at_home
    }


def _still_there(book: Logbook, kept: Kept) -> bool:
    """Tell whether no file of these was moved or written anew; waits for who is about to."""
    with book.register.writing() as session:
        now = {run.run_id: run for run in kept_files(session).runs}
    return all(now.get(run.run_id) == run for run in kept.runs)


def _pack(sources: dict[str, _Source], archive_path: Path, track: Track) -> BackedUp:
    """Write files to an archive, and what they are to its end."""
    entries: dict[str, _Entry] = {}
    missing: list[str] = []
    with tarfile.open(archive_path, "w") as archive:
        for name in track(list(sources), len(sources)):
            source = sources[name]
            if not _NAME.fullmatch(name):
                missing.append(source.files.shown(name))
                continue
            try:
                entries[name] = _add(archive, name, source)
            except FileNotFoundError:
                missing.append(source.files.shown(name))
        manifest = json.dumps(_manifest(entries), indent=1).encode()
        archive.addfile(_member(MANIFEST_FILE, len(manifest)), io.BytesIO(manifest))
    size = sum(entry.size for entry in entries.values())
    return BackedUp(len(entries), size, tuple(missing))


def _add(archive: tarfile.TarFile, name: str, source: _Source) -> _Entry:
    with source.files.open(source.name) as file:
        size = file.size()
        hashing = _HashingReader(file)
        archive.addfile(_member(name, size), hashing)
    return _Entry(hashing.sha256.hexdigest(), size)


def _member(name: str, size: int) -> tarfile.TarInfo:
    member = tarfile.TarInfo(name)
    member.size = size
    member.mtime = int(datetime.now(UTC).timestamp())
    return member


def _manifest(entries: dict[str, _Entry]) -> dict[str, Any]:
    return {
        "version": FORMAT_VERSION,
        "revision": REVISION,
        "made_at": datetime.now(UTC).isoformat(),
        "files": {name: {"sha256": e.sha256, "bytes": e.size} for name, e in entries.items()},
    }


def _read_manifest(archive: tarfile.TarFile, path: Path) -> dict[str, _Entry]:
    """Return what the manifest lists.

    Raises:
        LogbookError: there is none, it cannot be read, or a newer program wrote it.
    """
    try:
        member = archive.getmember(MANIFEST_FILE)
        file = archive.extractfile(member) if _is_plain(member) else None
    except KeyError:
        file = None
    if file is None:
        raise LogbookError(
            f"{path} is no whole backup of a logbook: it has no {MANIFEST_FILE} at its end."
        )
    try:
        manifest = json.loads(file.read(_MOST_MANIFEST_BYTES))
        version, revision = int(manifest["version"]), str(manifest["revision"])
        entries = {
            str(name): _Entry(str(about["sha256"]), int(about["bytes"]))
            for name, about in manifest["files"].items()
        }
    except (*_UNREADABLE, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise LogbookError(f"{path} is no backup of a logbook: its list is unreadable.") from error
    if version > FORMAT_VERSION:
        raise LogbookError(
            f"{path} was made by a newer program (version {version} of its form, this one knows "
            f"{FORMAT_VERSION}): update this program."
        )
    refuse_newer(revision, str(path))
    return entries


def _members(
    archive: tarfile.TarFile, entries: dict[str, _Entry], path: Path
) -> dict[str, tarfile.TarInfo]:
    """Return the archive's members by name, which are the files listed and no others.

    Raises:
        LogbookError: one is missing, there twice or too many, is no plain file, or would lie where
            no file of a logbook lies.
    """
    members = [member for member in archive.getmembers() if member.name != MANIFEST_FILE]
    named = {member.name: member for member in members}
    wrong = sorted(
        {name for name in named.keys() | entries.keys() if not _NAME.fullmatch(name)}
        | {m.name for m in members if not _is_plain(m) or named[m.name] is not m}
        | (named.keys() ^ entries.keys())
        | {name for name in (SETTINGS_FILE, REGISTER_FILE) if name not in named}
    )
    if wrong:
        more = f" and {len(wrong) - _MOST_NAMED} more" if len(wrong) > _MOST_NAMED else ""
        names = ", ".join(map(repr, wrong[:_MOST_NAMED]))
        raise LogbookError(
            f"{path} is not a backup as it was written: {names}{more} is missing from it, or does "
            "not belong in it; use another backup."
        )
    return named


def _is_plain(member: tarfile.TarInfo) -> bool:
    """Tell whether a member is a file whose bytes all lie in the archive: it unfolds to no more."""
    return member.type == tarfile.REGTYPE and not member.issparse()


def _unpack(
    archive: tarfile.TarFile, member: tarfile.TarInfo, entry: _Entry, target: Path, path: Path
) -> None:
    """Write one file to the disk.

    Raises:
        LogbookError: it is not what was backed up.
    """
    source = archive.extractfile(member)
    if source is None:
        raise AssertionError(member.name)
    hashing = _HashingReader(source)
    with whole_file(target) as part, part.open("wb") as file:
        shutil.copyfileobj(hashing, file, _BLOCK)
    if (hashing.sha256.hexdigest(), member.size) != (entry.sha256, entry.size):
        raise LogbookError(
            f"{path} is damaged: {member.name} in it is not what was backed up; use another backup."
        )


def _refuse_unfolding(run: Path, path: Path) -> None:
    """Refuse a backup with a run that promises more than it holds; one that is damaged stays.

    Raises:
        LogbookError: it has such a run.
    """
    try:
        with pq.ParquetFile(run) as file:
            refuse_unfolding(file, run.stat().st_size)
    except pa.ArrowException:
        return  # verifying says which it is, and the rest of the logbook is worth having
    except LogbookError as error:
        raise LogbookError(f"{run.name} in {path} was made up: {error}") from error


class _HashingReader:
    """Passes the bytes of a file through and hashes them."""

    def __init__(self, file: IO[bytes]) -> None:
        self.sha256 = hashlib.sha256()
        self._file = file

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes."""
        data = self._file.read(size)
        self.sha256.update(data)
        return data
