"""Where the files of runs and logs lie: in the logbook's folder, or in a store elsewhere.

A file appears under its name only when it is whole: what is written elsewhere first is staged, and
then moved. On a disk that is a rename; in an object store it is an upload and a copy within it.
"""

from __future__ import annotations

import contextlib
import errno
import shutil
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
from pyarrow import fs

from babbitt.errors import SettingsError
from babbitt.logbook.safe_files import place_file, sync

_BLOCK = 1 << 22
_SCHEMES = ("file", "s3", "gs", "abfs", "abfss")


@dataclass(frozen=True)
class FileStore:
    """Files by name, the parts of which are separated by `/`.

    What goes wrong with a file is an OSError.

    Attributes:
        system: that holds them.
        root: folder in it; names are under it.
        address: of `root`, as a person knows it.
        on_disk: it is a folder of this machine.
    """

    system: fs.FileSystem
    root: str
    address: str
    on_disk: bool

    def shown(self, name: str) -> str:
        """Return where a file lies, as a person finds it."""
        return str(Path(self.root) / name) if self.on_disk else f"{self.address}/{name}"

    def open(self, name: str, *, mapped: bool = False) -> pa.NativeFile:
        """Open a file for reading anywhere in it.

        Args:
            name: of the file.
            mapped: map it into memory where it lies on a disk.
        """
        if mapped and self.on_disk:
            return pa.memory_map(self._path(name))
        return self.system.open_input_file(self._path(name))

    def exists(self, name: str) -> bool:
        """Tell whether there is a file of this name."""
        return bool(self.system.get_file_info(self._path(name)).type == fs.FileType.File)

    def stamp(self, name: str) -> int:
        """Return what changes with a file: when it was written, in ns; 0 where there is none."""
        return int(self.system.get_file_info(self._path(name)).mtime_ns or 0)

    def names(self, folder: str) -> list[str]:
        """Return the names of the files in a folder and in those within it, sorted."""
        where = fs.FileSelector(self._path(folder), recursive=True, allow_not_found=True)
        found = self.system.get_file_info(where)
        begins = len(self.root) + 1
        return sorted(each.path[begins:] for each in found if each.type == fs.FileType.File)

    def folders(self, beginning: str) -> list[str]:
        """Return the names of the folders at the top whose name begins so, sorted."""
        found = self.system.get_file_info(fs.FileSelector(self.root, allow_not_found=True))
        names = [each.base_name for each in found if each.type == fs.FileType.Directory]
        return sorted(name for name in names if name.startswith(beginning))

    def stage(self, written: Path, folder: Path) -> str:
        """Bring a file that was written into the store, and return its name there.

        Args:
            written: a file of `folder`, whose bytes are on the disk.
            folder: of the logbook, for what is on its way in; see `unstage`.
        """
        name = f"{folder.name}/{written.name}"
        if self._holds(folder):
            return name
        if self.on_disk:
            copied = Path(self._path(name))
            copied.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(written, copied)
            sync(copied)
        else:
            with (
                written.open("rb") as source,
                self.system.open_output_stream(self._path(name)) as to,
            ):
                shutil.copyfileobj(source, to, _BLOCK)
        written.unlink()
        return name

    def unstage(self, folder: Path) -> None:
        """Delete what `stage` brought in from a folder and nobody moved from there."""
        if not self._holds(folder):
            with contextlib.suppress(FileNotFoundError):
                self.system.delete_dir(self._path(folder.name))

    def _holds(self, folder: Path) -> bool:
        return self.on_disk and Path(self.root) == folder.parent.absolute()

    def move(self, staged: str, name: str) -> None:
        """Give a staged file another name, in place of the file that has it."""
        if self.on_disk:
            place_file(Path(self._path(staged)), Path(self._path(name)))
        else:
            self.system.move(self._path(staged), self._path(name))

    def copy(self, name: str, to: str) -> None:
        """Copy a file to another name."""
        self.system.copy_file(self._path(name), self._path(to))

    def delete(self, name: str) -> None:
        """Delete a file, if there is one."""
        with contextlib.suppress(FileNotFoundError):
            self.system.delete_file(self._path(name))

    def _path(self, name: str) -> str:
        if {"", ".", ".."} & set(name.split("/")) or "\0" in name:  # a register may be anyone's
            raise OSError(errno.EINVAL, f"{name!r} is no name of a file in a logbook")
        return f"{self.root}/{name}"


def on_disk(folder: Path) -> FileStore:
    """Return the files in a folder."""
    root = folder.absolute().as_posix()
    return FileStore(fs.LocalFileSystem(), root, root, on_disk=True)


def elsewhere(address: str) -> FileStore:
    """Return the files at an address, like `s3://bucket/folder?region=eu-central-1`.

    Who may read and write them is not part of the address: keys come from the environment.

    Raises:
        SettingsError: the address cannot be used.
    """
    where, _, options = address.partition("?")
    where = where.rstrip("/")
    if ":" in where.partition("://")[2].rpartition("@")[0]:
        raise SettingsError(
            "files names the key to its store: take it out of logbook.toml, and leave it to the "
            "environment."
        )
    if where.partition("://")[0] not in _SCHEMES:
        raise SettingsError(
            f"files = {address!r} is no address of a store: write it like "
            "'s3://bucket/folder?region=eu-central-1', or leave it out for files in the logbook."
        )
    try:
        system, root = fs.FileSystem.from_uri(f"{where}?{options}" if options else where)
    except (pa.ArrowException, OSError, ValueError) as error:
        reason = str(error).rstrip(".")
        raise SettingsError(f"files = {address!r} cannot be used: {reason}.") from error
    local = isinstance(system, fs.LocalFileSystem)
    return FileStore(system, root.rstrip("/"), where, on_disk=local)
