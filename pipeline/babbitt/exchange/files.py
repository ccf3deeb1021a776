"""Exported tables as files: CSV (RFC 4180, UTF-8), Parquet, and one SQLite file."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.parquet as pq

from babbitt.register.dictionary import Column, ColumnType, dictionary
from babbitt.register.queries.dump import TableDump
from babbitt.register.queries.dump_file import FileTable, Storage, write_sqlite

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

_STORAGE: dict[ColumnType, Storage] = {
    "text": "text",
    "integer": "integer",
    "real": "real",
    "boolean": "integer",
    "time": "text",
    "json": "text",
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


def write_csv(dump: TableDump, path: Path) -> None:
    """Write a table as CSV; see `ABOUT_FILES`."""
    _write_csv(path, dump.columns, _csv_rows(dump))


def csv_text(dump: TableDump) -> str:
    """Return a table as CSV; see `ABOUT_FILES`."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(dump.columns)
    writer.writerows(_csv_rows(dump))
    return text.getvalue()


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
    values = zip(*dump.rows, strict=True) if dump.rows else ([] for _ in columns)
    arrays = [
        pa.array([_stored(v) if c.type == "json" else v for v in column], type=_ARROW[c.type])
        for c, column in zip(columns, values, strict=True)
    ]
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), path, compression="zstd")


def write_sqlite_file(dumps: Sequence[TableDump], path: Path) -> None:
    """Write tables and the dictionary to one SQLite file."""
    tables = [
        FileTable(
            dump.name,
            {column.name: _STORAGE[column.type] for column in _columns(dump)},
            [tuple(map(_stored, row)) for row in dump.rows],
        )
        for dump in dumps
    ]
    about = FileTable(DICTIONARY, dict.fromkeys(DICTIONARY_COLUMNS, "text"), dictionary_rows())
    write_sqlite(path, [*tables, about])


def write_dictionary(path: Path) -> None:
    """Write the dictionary as CSV."""
    _write_csv(path, DICTIONARY_COLUMNS, [map(harmless, row) for row in dictionary_rows()])


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


def _csv_rows(dump: TableDump) -> Iterator[list[object]]:
    types = [column.type for column in _columns(dump)]
    for row in dump.rows:
        yield [_csv_cell(value, kind) for value, kind in zip(row, types, strict=True)]


def _write_csv(path: Path, header: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)


def _csv_cell(value: Any, kind: ColumnType) -> object:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case str() if kind == "text":
            return harmless(value)
        case _:
            return _stored(value)


def _stored(value: Any) -> str | int | float | None:
    """Return a value as plain text or a number."""
    match value:
        case datetime():
            text = value.astimezone(UTC).isoformat(timespec="milliseconds")
            return text.replace("+00:00", "Z")
        case list() | dict():
            return json.dumps(value, ensure_ascii=False)
        case bool():
            return int(value)
        case None | str() | int() | float():
            return value
        case _:
            raise TypeError(f"cannot export {type(value).__name__}")
