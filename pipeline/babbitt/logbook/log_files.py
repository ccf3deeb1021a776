"""Which files of a folder are logs."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from babbitt.logbook.folder import PHOTO_FOLDER, SETTINGS_FILE, STORED_FOLDERS

_TABLES = (".csv", ".tsv", ".txt", ".log")
_PACKED = (".gz", ".zst", ".zip")
_BINARY = (".parquet", ".arrow", ".feather")


def is_log(path: Path) -> bool:
    """Whether a file is a log by its name; hidden and temporary files are not."""
    if path.name.startswith((".", "~")):
        return False
    suffix = path.suffix.casefold()
    if suffix in _PACKED:
        inner = Path(path.stem).suffix.casefold()
        return inner in _TABLES or (suffix == ".zip" and not inner)
    return suffix in (*_TABLES, *_BINARY)


def logs_in(folder: Path) -> list[Path]:
    """Return the logs in a folder and those below it, in the order of their names.

    Hidden folders are passed over, and so is what a logbook among them keeps.

    Raises:
        OSError: a folder is gone or cannot be read.
    """
    return sorted(path for path in _files(folder) if is_log(path))


def _files(folder: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        raise error

    for here, folders, names in os.walk(folder, onerror=refuse):
        kept = (*STORED_FOLDERS, PHOTO_FOLDER) if SETTINGS_FILE in names else ()
        folders[:] = [name for name in folders if not name.startswith(".") and name not in kept]
        yield from (Path(here) / name for name in names)
