"""The register as plain tables, for export: what counts, and what was withdrawn too.

Which columns a table has, and in which order, schemas/dictionary.toml says.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, func, inspect, or_, select
from sqlalchemy.orm import Session

from babbitt.model.event import NOT_COUNTED
from babbitt.register.dictionary import dictionary
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.records.engines import require_engine
from babbitt.register.tables.models import (
    ChangeRow,
    CornerNameRow,
    EngineRow,
    EngineSpecRow,
    EventRow,
    ExposureRow,
    ExposureWatchRow,
    LapRow,
    RefreshRow,
    ReviewRow,
    RunRow,
)
from babbitt.register.tables.part_models import (
    BuiltMeasurementRow,
    FindingRow,
    FitmentRow,
    HistoryRow,
    PartRow,
    SheetLineRow,
    TeardownRow,
    WorkRow,
)


@dataclass(frozen=True)
class TableDump:
    """The rows of one table.

    Attributes:
        name: of the table, in schemas/dictionary.toml.
        columns: their names, in order.
        rows: a value for each column: str, int, float, bool, an aware datetime, None, or a list or
            dict that JSON can hold.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


def dump_tables(
    session: Session, *, engine_id: str | None = None, names: Collection[str] | None = None
) -> tuple[TableDump, ...]:
    """Return what people and logs brought into the register, a table each.

    Args:
        session: of a transaction; all tables show its moment.
        engine_id: only what concerns this engine; of parts, those that were ever fitted to it.
        names: only these tables; None: all.

    Raises:
        RegisterError: no such engine.
    """
    if engine_id is not None:
        require_engine(session, engine_id)
    queries = _engine_queries(engine_id) | _part_queries(engine_id) | _run_queries(engine_id)
    made = {"event": _events, "run_channel": _run_channels, "running_table": _running_table}
    journal_too = names is None or not {"journal", "journal_change"}.isdisjoint(names)
    dumps = (
        *(
            _dump(name, (tuple(row) for row in session.execute(query)))
            for name, query in queries.items()
            if names is None or name in names
        ),
        *(
            _dump(name, rows(session, engine_id))
            for name, rows in made.items()
            if names is None or name in names
        ),
        *(_journal(session, engine_id) if journal_too else ()),
    )
    return tuple(dump for dump in dumps if names is None or dump.name in names)


def _dump(name: str, rows: Iterable[tuple[Any, ...]]) -> TableDump:
    return TableDump(name, tuple(c.name for c in dictionary()[name].columns), tuple(rows))


def _query(name: str, *tables: Any, **others: Any) -> Select[Any]:
    """Select the columns of an exported table.

    Args:
        name: of the exported table.
        *tables: of the register; each column comes from the first that has one of its name.
        **others: columns that have another name there, or are made up.
    """
    found = {
        column.name: getattr(table, column.name)
        for column in dictionary()[name].columns
        for table in reversed(tables)
        if hasattr(table, column.name)
    } | others
    return select(*(found[c.name].label(c.name) for c in dictionary()[name].columns))


def _engine_queries(engine_id: str | None) -> dict[str, Select[Any]]:
    withdrawn_at = func.coalesce(FindingRow.withdrawn_at, TeardownRow.withdrawn_at)
    finding = _query(
        "finding",
        FindingRow,
        TeardownRow,
        finding_id=FindingRow.id,
        measurement_name=FindingRow.measured_name,
        measurement_value=FindingRow.measured_value,
        measurement_unit=FindingRow.measured_unit,
        measurement_low=FindingRow.measured_low,
        measurement_high=FindingRow.measured_high,
        withdrawn_at=withdrawn_at,
    )
    return {
        "engine": _query("engine", EngineRow)
        .where(*_of(EngineRow.engine_id, engine_id))
        .order_by(EngineRow.engine_id),
        "engine_spec": _query("engine_spec", EngineSpecRow, spec_id=EngineSpecRow.id)
        .where(*_of(EngineSpecRow.engine_id, engine_id))
        .order_by(EngineSpecRow.id),
        "refresh": _query("refresh", RefreshRow, refresh_id=RefreshRow.id)
        .where(*_of(RefreshRow.engine_id, engine_id))
        .order_by(RefreshRow.id),
        "sheet_line": _query("sheet_line", SheetLineRow, line_id=SheetLineRow.id)
        .where(*_of(SheetLineRow.engine_id, engine_id))
        .order_by(SheetLineRow.id),
        "built_measurement": _query(
            "built_measurement", BuiltMeasurementRow, measurement_id=BuiltMeasurementRow.id
        )
        .where(*_of(BuiltMeasurementRow.engine_id, engine_id))
        .order_by(BuiltMeasurementRow.id),
        "teardown": _query("teardown", TeardownRow, teardown_id=TeardownRow.id)
        .where(*_of(TeardownRow.engine_id, engine_id))
        .order_by(TeardownRow.id),
        "finding": finding.join(TeardownRow, TeardownRow.id == FindingRow.teardown_id)
        .where(*_of(TeardownRow.engine_id, engine_id))
        .order_by(FindingRow.id),
    }


def _part_queries(engine_id: str | None) -> dict[str, Select[Any]]:
    fitted = select(FitmentRow.part_id).where(FitmentRow.engine_id == engine_id)

    def of_part(part_id: Any) -> list[ColumnElement[bool]]:
        return [] if engine_id is None else [part_id.in_(fitted)]

    history = _query("history", HistoryRow, history_id=HistoryRow.id)
    if engine_id is not None:
        own = HistoryRow.engine_id == engine_id
        history = history.where(or_(own, *of_part(HistoryRow.part_id)))
    return {
        "part": _query("part", PartRow).where(*of_part(PartRow.part_id)).order_by(PartRow.part_id),
        "fitment": _query("fitment", FitmentRow, PartRow, fitment_id=FitmentRow.id)
        .join(PartRow, PartRow.part_id == FitmentRow.part_id)
        .where(*of_part(FitmentRow.part_id))
        .order_by(FitmentRow.since, FitmentRow.id),
        "work": _query("work", WorkRow, work_id=WorkRow.id)
        .where(*of_part(WorkRow.part_id))
        .order_by(WorkRow.since, WorkRow.id),
        "history": history.order_by(HistoryRow.until, HistoryRow.id),
    }


def _run_queries(engine_id: str | None) -> dict[str, Select[Any]]:
    made: dict[str, tuple[Select[Any], Any]] = {
        "review": (_query("review", ReviewRow, RunRow, review_id=ReviewRow.id), ReviewRow),
        "lap": (_query("lap", LapRow, RunRow), LapRow),
        "exposure": (_query("exposure", ExposureRow, RunRow), ExposureRow),
        "exposure_watch": (_query("exposure_watch", ExposureWatchRow, RunRow), ExposureWatchRow),
    }
    return {
        "change": _query("change", ChangeRow, change_id=ChangeRow.id)
        .where(*_of(ChangeRow.engine_id, engine_id))
        .order_by(ChangeRow.id),
        "corner_name": _query("corner_name", CornerNameRow, corner_name_id=CornerNameRow.id)
        .where(*([] if engine_id is None else [CornerNameRow.circuit.in_(_circuits(engine_id))]))
        .order_by(CornerNameRow.id),
        "run": _query("run", RunRow)
        .where(*_of(RunRow.engine_id, engine_id))
        .order_by(RunRow.started_at, RunRow.run_id),
        **{
            name: query.join(RunRow, RunRow.run_id == table.run_id)
            .where(*_of(RunRow.engine_id, engine_id))
            .order_by(RunRow.started_at, *inspect(table).primary_key)
            for name, (query, table) in made.items()
        },
    }


def _circuits(engine_id: str) -> Select[Any]:
    return select(RunRow.circuit).where(RunRow.engine_id == engine_id)


def _events(session: Session, engine_id: str | None) -> Iterator[tuple[Any, ...]]:
    """Yield the events; when one began is its place in the run after the run's start."""
    counts = and_(
        RunRow.removed_at.is_(None),
        or_(EventRow.review.is_(None), EventRow.review.not_in(NOT_COUNTED)),
    )
    query = _query("event", EventRow, RunRow, at=RunRow.started_at, counts=counts)
    query = (
        query.join(RunRow, RunRow.run_id == EventRow.run_id)
        .where(*_of(RunRow.engine_id, engine_id))
        .order_by(RunRow.started_at, EventRow.run_id, EventRow.start_s, EventRow.event_id)
    )
    for row in session.execute(query):
        at = row.at + timedelta(seconds=row.start_s)
        told = {"at": at, "confidence": json.loads(row.confidence)}
        yield tuple((row._asdict() | told).values())


def _run_channels(session: Session, engine_id: str | None) -> Iterator[tuple[Any, ...]]:
    query = (
        select(RunRow.run_id, RunRow.engine_id, RunRow.channels)
        .where(*_of(RunRow.engine_id, engine_id))
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    for row in session.execute(query):
        for place, each in enumerate(row.channels, start=1):
            told = (each["name"], each["unit"], each["native_hz"], each["header"])
            yield (row.run_id, row.engine_id, place, *told)


def _running_table(session: Session, engine_id: str | None) -> Iterator[tuple[Any, ...]]:
    query = (
        select(RunRow.run_id, RunRow.engine_id, ExposureRow.running_table)
        .join(RunRow, RunRow.run_id == ExposureRow.run_id)
        .where(ExposureRow.running_table.is_not(None), *_of(RunRow.engine_id, engine_id))
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    for row in session.execute(query):
        table = row.running_table
        for rpm, by_boost in zip(pairwise(table["rpm_edges"]), table["seconds"], strict=True):
            for boost, seconds in zip(pairwise(table["boost_edges_kpa"]), by_boost, strict=True):
                if seconds > 0.0:
                    yield (row.run_id, row.engine_id, *rpm, *boost, seconds)


def _journal(session: Session, engine_id: str | None) -> tuple[TableDump, TableDump]:
    entries = sorted(journal(session, engine_id=engine_id), key=lambda entry: entry.entry_id)
    acts = (
        (
            entry.entry_id,
            entry.at,
            entry.who,
            list(entry.engine_ids),
            entry.action,
            sentence(entry),
            entry.reason,
            entry.undoes,
            entry.undone,
        )
        for entry in entries
    )
    changes = (
        (
            entry.entry_id,
            place,
            change.record,
            change.record_id,
            change.version,
            change.about,
            change.before,
            change.after,
        )
        for entry in entries
        for place, change in enumerate(entry.changes, start=1)
    )
    return _dump("journal", acts), _dump("journal_change", changes)


def _of(column: Any, engine_id: str | None) -> list[ColumnElement[bool]]:
    """Return the condition that rows are of one engine; none where they may be of any."""
    return [] if engine_id is None else [column == engine_id]
