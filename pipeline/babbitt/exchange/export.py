"""babbitt export: the whole record in files that any program reads."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from babbitt.exchange.files import (
    DICTIONARY,
    csv_text,
    dictionary_text,
    write_parquet,
    write_sqlite,
)
from babbitt.exchange.tables import tables_of
from babbitt.logbook.folder import Logbook, saying_what_failed, whole_folder

Format = Literal["csv", "parquet", "sqlite", "all"]

SQLITE_FILE = "babbitt.sqlite"


@dataclass(frozen=True)
class ExportedTable:
    """What was written of one table.

    Attributes:
        name: of the table.
        rows: how many.
        files: names of the files that hold it.
    """

    name: str
    rows: int
    files: tuple[str, ...]


def export(
    book: Logbook,
    folder: Path,
    *,
    format: Format = "all",  # noqa: A002
    engine_id: str | None = None,
) -> tuple[ExportedTable, ...]:
    """Write register, runs, events, totals and exposures to a folder, with a data dictionary.

    The folder appears when everything is in it.

    Args:
        book: the logbook.
        folder: new or empty.
        format: csv and parquet make a file a table, sqlite one file with all tables.
        engine_id: only what concerns this engine.

    Raises:
        LogbookError: the folder is in use or cannot be written.
        RegisterError: no such engine.
    """
    dumps = tables_of(book, engine_id=engine_id)
    with saying_what_failed(f"cannot export to {folder}"), whole_folder(folder) as new:
        _write(new / f"{DICTIONARY}.csv", dictionary_text())
        written: dict[str, list[str]] = {dump.name: [] for dump in dumps}
        for dump in dumps:
            if format in ("csv", "all"):
                _write(new / f"{dump.name}.csv", csv_text(dump))
                written[dump.name].append(f"{dump.name}.csv")
            if format in ("parquet", "all"):
                write_parquet(dump, new / f"{dump.name}.parquet")
                written[dump.name].append(f"{dump.name}.parquet")
        if format in ("sqlite", "all"):
            write_sqlite(dumps, new / SQLITE_FILE)
            for names in written.values():
                names.append(SQLITE_FILE)
    return tuple(ExportedTable(d.name, len(d.rows), tuple(written[d.name])) for d in dumps)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")
