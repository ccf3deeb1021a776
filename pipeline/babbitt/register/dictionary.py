"""The tables of schemas/dictionary.toml and their columns, as values."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from babbitt.model.contracts import read_toml

ColumnType = Literal["text", "integer", "real", "boolean", "time", "json"]


@dataclass(frozen=True)
class Column:
    """One column of an exported table.

    Attributes:
        name: in every file.
        type: of its values; json is text that holds a list or an object.
        unit: of a number; "column:NAME" where another column of the row states it, "" without.
        meaning: in words.
    """

    name: str
    type: ColumnType
    unit: str
    meaning: str


@dataclass(frozen=True)
class Table:
    """One table of rows.

    Attributes:
        name: in every file.
        meaning: of a row.
        columns: in the order in which they are written.
        exported: it is part of an export; else only what is asked for has it.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    exported: bool


@cache
def dictionary() -> dict[str, Table]:
    """Return every table by name, in the order of schemas/dictionary.toml."""
    return {name: _table(name, about) for name, about in read_toml("dictionary.toml").items()}


def _table(name: str, about: dict[str, Any]) -> Table:
    columns = tuple(
        Column(row["name"], row["type"], row.get("unit", ""), row["meaning"])
        for row in about["columns"]
    )
    return Table(name, about["meaning"], columns, about.get("exported", True))
