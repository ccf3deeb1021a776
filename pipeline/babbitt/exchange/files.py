"""Exported tables as files: CSV (RFC 4180, UTF-8), Parquet, and one SQLite file."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.parquet as pq

from babbitt.register.dictionary import Column, ColumnType, dictionary
from babbitt.register.queries.dump import TableDump

if TYPE_CHECKING:
    import pandas as pd

DICTIONARY = "dictionary"
"""Name of the table that tells what the others hold."""
DICTIONARY_COLUMNS = ("table", "column", "type", "unit", "meaning")

ABOUT_FILES = (
    "Every table keeps its columns, in their order, also where it has no rows. Times are UTC, "
    "written as ISO 8601 with milliseconds in CSV and SQLite. In CSV an empty cell is an unknown "
    "or empty value; text that a spreadsheet would run as a formula (it begins with = + - @, a tab "
    "or a line end, and is no number) has an apostrophe before it, and so has text that would look "
    "as if it had been given one."
)

_RUN = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
"""How text begins that a spreadsheet runs, or that looks like such text made harmless."""
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")

_SQLITE: dict[ColumnType, str] = {
    "text": "TEXT",
    "integer": "INTEGER",
    "real": "REAL",
    "boolean": "INTEGER",
    "time": "TEXT",
    "json": "TEXT",
}
_ARROW: dict[ColumnType, pa.DataType] = {
    "text": pa.string(),
    "integer": pa.int64(),
    "real": pa.float64(),
    "boolean": pa.bool_(),
    "time": pa.timestamp("us", "UTC"),
    "json": pa.string(),
}
_PANDAS: dict[ColumnType, str] = {
    "text": "str",
    "integer": "Int64",
    "real": "float64",
    "boolean": "boolean",
    "time": "datetime64[us, UTC]",
    "json": "object",
}


def harmless(text: str) -> str:
    """Return text that no spreadsheet runs as a formula; `as_written` gives the text back."""
    return f"'{text}" if _RUN.match(text) and not _NUMBER.fullmatch(text) else text


def as_written(cell: str) -> str:
    """Return the text that `harmless` made a cell of."""
    return cell[1:] if cell.startswith("'") and _RUN.match(cell) else cell


def csv_text(dump: TableDump) -> str:
    """Return a table as CSV; see `ABOUT_FILES`."""
    frame = _as_text(dump)
    for column in _columns(dump):
        if column.type == "text":
            frame[column.name] = frame[column.name].map(harmless, na_action="ignore")
        elif column.type == "boolean":
            frame[column.name] = frame[column.name].map({True: "true", False: "false"})
    return frame.to_csv(index=False, lineterminator="\r\n")


def to_frame(dump: TableDump) -> pd.DataFrame:
    """Return a table as a DataFrame whose columns and dtypes are the same where it is empty.

    A time is datetime64[us, UTC], an integer Int64, a boolean boolean, so that each may be unknown;
    json is the list or dict itself. ``attrs["units"]`` has the unit of each column that states one.
    """
    import pandas as pd  # slow to import, and only this needs it

    columns = _columns(dump)
    values = zip(*dump.rows, strict=True) if dump.rows else ([] for _ in columns)
    frame = pd.DataFrame(
        {
            column.name: pd.Series(list(cells), dtype=_PANDAS[column.type])
            for column, cells in zip(columns, values, strict=True)
        }
    )
    frame.attrs["units"] = {column.name: column.unit for column in columns if column.unit}
    return frame


def write_parquet(dump: TableDump, path: Path) -> None:
    """Write a table as Parquet; its fields carry unit and meaning."""
    columns = _columns(dump)
    schema = pa.schema(
        [
            pa.field(c.name, _ARROW[c.type], metadata={"unit": c.unit, "meaning": c.meaning})
            for c in columns
        ],
        metadata={"meaning": dictionary()[dump.name].meaning},
    )
    frame = _json_as_text(to_frame(dump), columns)
    table = pa.Table.from_pandas(frame, schema=schema, preserve_index=False)
    pq.write_table(table.replace_schema_metadata(schema.metadata), path, compression="zstd")


def write_sqlite(dumps: Sequence[TableDump], path: Path) -> None:
    """Write tables and the dictionary to one SQLite file."""
    # Made in memory: what fails on the disk is then an OSError, which is told in a sentence.
    with closing(sqlite3.connect(":memory:")) as connection:
        for dump in dumps:
            types = {column.name: _SQLITE[column.type] for column in _columns(dump)}
            _as_text(dump).to_sql(dump.name, connection, index=False, dtype=types)
        _dictionary_frame().to_sql(DICTIONARY, connection, index=False)
        path.write_bytes(connection.serialize())


def dictionary_text() -> str:
    """Return the dictionary as CSV."""
    return _dictionary_frame().map(harmless).to_csv(index=False, lineterminator="\r\n")


def dictionary_rows() -> list[tuple[str, ...]]:
    """Return what every table and column holds: first of all files, then table by table."""
    rows: list[tuple[str, ...]] = [("", "", "", "", ABOUT_FILES)]
    for table in (each for each in dictionary().values() if each.exported):
        rows.append((table.name, "", "", "", table.meaning))
        rows += [(table.name, c.name, c.type, c.unit, c.meaning) for c in table.columns]
    return rows


def _columns(dump: TableDump) -> tuple[Column, ...]:
    columns = dictionary()[dump.name].columns
    if dump.columns != tuple(column.name for column in columns):
        raise AssertionError(f"schemas/dictionary.toml does not describe the table {dump.name}")
    return columns


def _as_text(dump: TableDump) -> pd.DataFrame:
    """Return a table whose times and lists are text."""
    columns = _columns(dump)
    frame = _json_as_text(to_frame(dump), columns)
    for column in columns:
        if column.type == "time":
            digits = frame[column.name].dt.strftime("%Y-%m-%dT%H:%M:%S.%f")
            frame[column.name] = digits.str[: -len("000")] + "Z"
    return frame


def _json_as_text(frame: pd.DataFrame, columns: Iterable[Column]) -> pd.DataFrame:
    for column in columns:
        if column.type == "json":
            told = frame[column.name].map(_dumps, na_action="ignore")
            frame[column.name] = told.astype("str")
    return frame


def _dumps(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _dictionary_frame() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(dictionary_rows(), columns=list(DICTIONARY_COLUMNS), dtype="str")
