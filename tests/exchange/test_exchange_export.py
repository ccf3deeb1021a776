"""What is exported reads back the same, from every kind of file."""

from __future__ import annotations

import csv
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet as pq
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from babbitt.errors import LogbookError, RegisterError
from babbitt.exchange.export import export
from babbitt.exchange.files import as_written, dictionary_rows, harmless
from babbitt.exchange.tables import tables_of
from babbitt.logbook.folder import Logbook
from babbitt.model.kinds import KINDS
from babbitt.model.records import Window
from babbitt.register.dictionary import Column, dictionary
from babbitt.register.queries.dump import TableDump
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import builds
from exchange_books import BUILT

READ_CELL: dict[str, Callable[[str], Any]] = {
    "text": as_written,
    "integer": int,
    "real": float,
    "boolean": {"true": True, "false": False}.__getitem__,
    "time": datetime.fromisoformat,
    "json": json.loads,
}


def read_csv(path: Path, columns: tuple[Column, ...]) -> list[tuple[Any, ...]]:
    with path.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    assert header == [column.name for column in columns]
    return [
        tuple(
            READ_CELL[column.type](cell) if cell else None
            for column, cell in zip(columns, row, strict=True)
        )
        for row in rows
    ]


def as_csv_can(value: Any) -> Any:
    """A value as CSV can hold it: milliseconds, and no difference between nothing and empty."""
    if isinstance(value, datetime):
        return value.replace(microsecond=value.microsecond // 1000 * 1000)
    return None if value == "" else value


def test_csv_reads_back_the_same(full: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="csv")
    for dump in tables_of(full):
        read = read_csv(tmp_path / "out" / f"{dump.name}.csv", dictionary()[dump.name].columns)
        assert read == [tuple(map(as_csv_can, row)) for row in dump.rows], dump.name


def test_parquet_reads_back_the_same_with_units_and_meanings(full: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="parquet")
    for dump in tables_of(full):
        columns = dictionary()[dump.name].columns
        table = pq.read_table(tmp_path / "out" / f"{dump.name}.parquet")
        jsons = {column.name for column in columns if column.type == "json"}
        rows = [
            tuple(json.loads(v) if v and k in jsons else v for k, v in row.items())
            for row in table.to_pylist()
        ]
        assert rows == list(dump.rows), dump.name
        for column in columns:
            about = table.schema.field(column.name).metadata
            assert about[b"meaning"].decode() == column.meaning
            assert about[b"unit"].decode() == column.unit


def test_sqlite_holds_every_table_and_the_dictionary(full: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="sqlite")
    with closing(sqlite3.connect(tmp_path / "out" / "babbitt.sqlite")) as file:
        for dump in tables_of(full):
            cursor = file.execute(f"SELECT * FROM {dump.name}")
            assert tuple(column[0] for column in cursor.description) == dump.columns
            assert len(cursor.fetchall()) == len(dump.rows)
        told = file.execute('SELECT "table", "column", type, unit, meaning FROM dictionary')
        assert told.fetchall() == dictionary_rows()
        ((note,),) = file.execute("SELECT note FROM part WHERE part_id = 'CR-1'")
        ((at,),) = file.execute("SELECT built_at FROM engine WHERE engine_id = 'E1'")
    assert note == '=1+1 "quoted", and\na second line'
    assert datetime.fromisoformat(at) == BUILT


def test_the_same_columns_without_rows(empty: Logbook, full: Logbook, tmp_path: Path) -> None:
    export(empty, tmp_path / "none")
    export(full, tmp_path / "some")
    for table in (each for each in dictionary().values() if each.exported):
        none, some = (tmp_path / name / table.name for name in ("none", "some"))
        header = some.with_suffix(".csv").read_text(encoding="utf-8").splitlines()[0]
        assert none.with_suffix(".csv").read_text(encoding="utf-8").splitlines() == [header]
        assert pq.read_schema(none.with_suffix(".parquet")) == pq.read_schema(
            some.with_suffix(".parquet")
        )


def test_doses_of_events_that_count_add_up_to_the_totals(full: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="csv")
    folder = tmp_path / "out"
    rows = duckdb.sql(
        f"""
        SELECT t.engine_id, t.build_number, t.kind, t.count, t.dose,
               count(e.event_id), coalesce(sum(e.dose), 0)
        FROM '{folder}/totals_kind.csv' t JOIN '{folder}/build.csv' b
          USING (engine_id, build_number)
        LEFT JOIN (SELECT e.*, r.started_at FROM '{folder}/event.csv' e
                   JOIN '{folder}/run.csv' r USING (run_id) WHERE e.counts) e
          ON e.engine_id = t.engine_id AND e.kind = t.kind
          AND (b.since IS NULL OR e.started_at >= b.since)
          AND (b.until IS NULL OR e.started_at < b.until)
        GROUP BY ALL
        """
    ).fetchall()
    assert len(rows) == 3 * len(KINDS), "three builds, every kind"
    assert {row[3] for row in rows if row[:3] == ("E1", 1, "over_rev")} == {1}, "one is harmless"
    for *_, count, dose, events, summed in rows:
        assert count == events
        assert dose is None or dose == pytest.approx(summed)


def test_totals_are_those_of_the_register(full: Logbook) -> None:
    (totals,) = (dump for dump in tables_of(full) if dump.name == "totals")
    with full.register.reading() as session:
        windows = [
            Window(build.engine_id, build.since, build.until, "")
            for engine_id in ("E1", "E2")
            for build in builds.builds_of(session, engine_id)
        ]
        sums = window_sums(session, windows)
    told = [column_of(totals, row, "running_s") for row in totals.rows]
    assert told == [each.running_s for each in sums]


def test_one_engine_alone(full: Logbook) -> None:
    alone = {dump.name: dump for dump in tables_of(full, engine_id="E2")}
    for name in ("engine", "run", "event", "totals", "exposure", "teardown"):
        dump = alone[name]
        assert {column_of(dump, row, "engine_id") for row in dump.rows} <= {"E2"}, name
    assert [row[0] for row in alone["part"].rows] == ["-7"]
    assert [row[0] for row in alone["part_totals"].rows] == ["-7"]
    assert len(alone["history"].rows) == 1
    assert alone["journal"].rows
    with pytest.raises(RegisterError, match="no engine 'E9'"):
        tables_of(full, engine_id="E9")


def column_of(dump: TableDump, row: tuple[Any, ...], name: str) -> Any:
    return row[dump.columns.index(name)]


def test_a_folder_in_use_is_refused(full: Logbook, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(LogbookError, match="is not an empty folder"):
        export(full, tmp_path)
    with pytest.raises(LogbookError, match="is not an empty folder"):
        export(full, tmp_path / "notes.txt")


def test_what_fails_in_the_middle_leaves_nothing(
    full: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("babbitt.exchange.export.write_sqlite", full_disk)
    there = set(tmp_path.iterdir())
    with pytest.raises(LogbookError, match="the disk is full"):
        export(full, tmp_path / "out")
    assert set(tmp_path.iterdir()) == there


def test_an_empty_folder_may_be_there_already(empty: Logbook, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    export(empty, tmp_path / "out")
    assert (tmp_path / "out" / "dictionary.csv").is_file()


@pytest.mark.parametrize("text", ["=1+1", "+1 day", "-x", "@SUM(A1)", "\tx", "\rx", "=", "'=1"])
def test_text_that_a_spreadsheet_would_run_is_made_harmless(text: str) -> None:
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "CR-1", "-7", "+1.5", "-1e3", "'twas", "a=b"])
def test_other_text_and_numbers_stay_as_they_are(text: str) -> None:
    assert harmless(text) == text


@given(st.text(alphabet=st.sampled_from("=+-@'\t\r1.ea＝"), max_size=6))
@example("'-7")
def test_harmless_text_can_be_read_back_and_is_not_run(text: str) -> None:
    cell = harmless(text)
    assert as_written(cell) == text
    if cell.startswith(("=", "@", "\t", "\r", "＝", "+", "-")):
        assert float(cell) is not None


def test_times_are_utc_with_milliseconds(full: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="csv")
    with (tmp_path / "out" / "run.csv").open(encoding="utf-8", newline="") as file:
        starts = [row["started_at"] for row in csv.DictReader(file)]
    assert starts[0] == "2026-05-03T10:00:00.000Z"
    assert datetime.fromisoformat(starts[0]) == datetime(2026, 5, 3, 10, 0, tzinfo=UTC)
