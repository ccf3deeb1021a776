"""Exported tables in one SQLite file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Column, Float, Integer, MetaData, Table, Text, create_engine, insert

from babbitt.register.tables.store import sqlite_url

Storage = Literal["text", "integer", "real"]

_TYPES: dict[Storage, Any] = {"text": Text, "integer": Integer, "real": Float}


@dataclass(frozen=True)
class FileTable:
    """A table as SQLite stores it.

    Attributes:
        name: of the table.
        columns: name -> storage class, in order.
        rows: a str, int, float or None for each column.
    """

    name: str
    columns: dict[str, Storage]
    rows: Sequence[tuple[str | int | float | None, ...]]


def write_sqlite(path: Path, tables: Sequence[FileTable]) -> None:
    """Write tables to a new or empty SQLite file, all or none.

    Args:
        path: of the file.
        tables: with different names.
    """
    metadata = MetaData()
    engine = create_engine(sqlite_url(path))
    try:
        with engine.begin() as connection:
            for each in tables:
                columns = [Column(name, _TYPES[kind]) for name, kind in each.columns.items()]
                table = Table(each.name, metadata, *columns)
                table.create(connection)
                if each.rows:
                    names = tuple(each.columns)
                    rows = [dict(zip(names, row, strict=True)) for row in each.rows]
                    connection.execute(insert(table), rows)
    finally:
        engine.dispose()
