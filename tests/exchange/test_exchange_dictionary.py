"""The data dictionary is complete: no column without a meaning, no record left out."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest
from sqlalchemy import inspect

from babbitt.exchange.files import to_frame
from babbitt.exchange.tables import tables_of
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.register.dictionary import ColumnType, Table, dictionary
from babbitt.register.tables import models, part_models
from babbitt.register.tables.models import Base

EXPORTED_OTHERWISE = {
    "channels",  # run_channel
    "running_table",  # running_table
    "version",  # what the register itself counts, to tell that a record has moved on
    "id",  # under a name that says what it numbers
}
NOT_EXPORTED = {
    "steady_pressure",  # can be made anew from the runs
    "surface",  # the same
    "run_layout",  # the same
    "sensor_summary",  # the same
    "journal_engine",  # the column engines of journal
    "refusal",  # of what was not taken in; a backup has it
}


@pytest.mark.parametrize("table", dictionary().values(), ids=lambda table: table.name)
def test_every_column_has_a_type_and_a_meaning(table: Table) -> None:
    assert table.meaning
    names = [column.name for column in table.columns]
    assert len(names) == len(set(names))
    for column in table.columns:
        assert column.meaning, column.name
        assert column.type in get_args(ColumnType)
        if column.unit.startswith("column:"):
            assert column.unit.removeprefix("column:") in names


@pytest.mark.parametrize("table", dictionary().values(), ids=lambda table: table.name)
def test_a_number_with_a_unit_in_its_name_states_that_unit(table: Table) -> None:
    units = {"_s": "s", "_kpa": "kPa", "_hz": "Hz", "_k": "K", "_deg": "°", "_rpm": "1/min"}
    for column in table.columns:
        for ending, unit in units.items():
            if column.type == "real" and column.name.endswith(ending):
                assert column.unit == unit or column.name.endswith("_m_s"), column.name


def test_every_table_of_the_register_is_exported_or_known_not_to_be() -> None:
    assert {part_models.PartRow.__tablename__, models.RunRow.__tablename__} <= set(dictionary())
    assert Base.metadata.tables.keys() - dictionary().keys() == NOT_EXPORTED


@pytest.mark.parametrize("row", Base.__subclasses__(), ids=lambda row: row.__tablename__)
def test_every_column_of_the_register_is_exported(row: type[Base]) -> None:
    if row.__tablename__ in NOT_EXPORTED or row.__tablename__.startswith("journal"):
        return
    there = {column.name for column in dictionary()[row.__tablename__].columns}
    own = set(inspect(row).columns.keys()) - EXPORTED_OTHERWISE
    renamed = {name.replace("measured_", "measurement_") for name in own}
    assert renamed <= there


def test_the_tables_handed_out_are_those_described(empty: Logbook, full: Logbook) -> None:
    exported = [table.name for table in dictionary().values() if table.exported]
    for book in (empty, full):
        dumps = tables_of(book)
        assert [dump.name for dump in dumps] == exported
        for dump in dumps:
            assert dump.columns == tuple(c.name for c in dictionary()[dump.name].columns)
    rows = {dump.name: len(dump.rows) for dump in tables_of(full)}
    assert all(rows.values()), rows


@pytest.mark.parametrize("table", [each.name for each in dictionary().values() if each.exported])
def test_a_table_asked_for_alone_is_the_one_in_the_export(full_once: Path, table: str) -> None:
    book = open_logbook(full_once)
    (alone,) = tables_of(book, names=[table])
    assert alone == next(dump for dump in tables_of(book) if dump.name == table)


@pytest.mark.parametrize("place", range(len([e for e in dictionary().values() if e.exported])))
def test_a_frame_has_the_columns_and_dtypes_of_the_dictionary_also_without_rows(
    place: int, empty_once: Path, full_once: Path
) -> None:
    without, filled = (
        to_frame(tables_of(open_logbook(root))[place]) for root in (empty_once, full_once)
    )
    table = [each for each in dictionary().values() if each.exported][place]
    assert list(filled) == [column.name for column in table.columns]
    assert filled.dtypes.equals(without.dtypes)
    assert len(filled) > len(without) == 0
    assert (
        filled.attrs
        == without.attrs
        == {"units": {c.name: c.unit for c in table.columns if c.unit}}
    )
