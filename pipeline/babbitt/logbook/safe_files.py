"""Files on a disk that appear under their name only when they are whole."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

_ANY_FILE, _ANY_FOLDER = 0o666, 0o2777


@contextlib.contextmanager
def whole_file(path: Path, *, mode: int | None = None) -> Iterator[Path]:
    """Yield a temporary path beside `path` that becomes `path` on success, and vanishes otherwise.

    The bytes are on the disk before the name is: a power cut leaves the old state or the new.

    Args:
        path: of the file.
        mode: who may read and write it; None: whoever may read and write its folder.
    """
    make_folder(path.parent)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        sync(temporary)
        place_file(temporary, path, mode=mode)
    finally:
        temporary.unlink(missing_ok=True)


def place_file(written: Path, path: Path, *, mode: int | None = None) -> None:
    """Give a file, whose bytes are on the same disk, its name `path`.

    Args:
        written: the file.
        path: its name; the folder is made where there is none.
        mode: who may read and write it; None: whoever may read and write its folder.
    """
    make_folder(path.parent)
    _open_to(written, path.parent.stat().st_mode & _ANY_FILE if mode is None else mode)
    written.replace(path)
    sync(path.parent)


def make_folder(path: Path) -> None:
    """Make a folder where there is none, as open to others as the one that it lies in."""
    if path.is_dir():
        return
    make_folder(path.parent)
    path.mkdir(exist_ok=True)
    _open_to(path, path.parent.stat().st_mode & _ANY_FOLDER)


def _open_to(path: Path, mode: int) -> None:
    with contextlib.suppress(PermissionError):  # disks that know no owners refuse
        path.chmod(mode)


def sync(path: Path) -> None:
    """Force a file, or a folder's entries, to the disk."""
    if path.is_dir() and os.name == "nt":
        return  # Windows cannot open a folder; its file system logs renames itself
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
