"""Build sheets: what a refresh did with each part, and what was measured of the fresh build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, cast

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.finding import Measurement
from babbitt.model.part_records import (
    ACTIONS,
    Action,
    BuiltMeasurement,
    RecordedLine,
    RecordedMeasurement,
    SheetLine,
)
from babbitt.model.positions import require_position
from babbitt.register.journal.changes import Act, Record, by_name, changing, require
from babbitt.register.records.engines import require_engine, spec_of
from babbitt.register.records.fitments import is_in, put_in
from babbitt.register.records.parts import require_part
from babbitt.register.tables.models import RefreshRow
from babbitt.register.tables.part_models import BuiltMeasurementRow, PartRow, SheetLineRow


def write_sheet(
    session: Session,
    act: Act,
    engine_id: str,
    refresh: RefreshRow | None,
    lines: Iterable[SheetLine],
    measurements: Iterable[BuiltMeasurement],
) -> None:
    """Add to the sheet of a build within an act.

    A line that names a tracked part sees to it that the part is fitted there from the refresh on,
    in place of what was there: nothing need be entered twice.

    Args:
        session: of a writing transaction.
        act: that this is a part of.
        engine_id: the engine.
        refresh: that began the build; None: the engine's first build.
        lines: to add.
        measurements: to add.

    Raises:
        RegisterError: a part, position, action or measurement cannot be, is there already, or a
            part that is named cannot be fitted.
    """
    refresh_id = None if refresh is None else refresh.id
    for line in lines:
        row = SheetLineRow(engine_id=engine_id, refresh_id=refresh_id, **asdict(line))
        if line.part_id is not None:
            require_part(session, line.part_id)
            _fit(session, act, engine_id, refresh, line, line.part_id)
        act.create(SHEET_LINE, row)
    for built in measurements:
        columns = _measurement_columns(built)
        act.create(
            BUILT_MEASUREMENT,
            BuiltMeasurementRow(engine_id=engine_id, refresh_id=refresh_id, **columns),
        )


def amend_line(
    session: Session, line_id: int, line: SheetLine, *, seen: int | None = None, reason: str = ""
) -> RecordedLine:
    """Correct a line of a build sheet; fitments are corrected by themselves.

    Args:
        session: of a writing transaction.
        line_id: the line.
        line: what it should say.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such line, it was changed since, or it cannot say so.
    """
    row = require(session, SHEET_LINE, line_id)
    if line.part_id is not None:
        require_part(session, line.part_id)
    with changing(session, "sheet amend", reason) as act:
        act.amend(SHEET_LINE, row, seen=seen, **asdict(line))
    return _to_line(row)


def withdraw_line(
    session: Session, line_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a line of a build sheet; fitments are withdrawn by themselves.

    Args:
        session: of a writing transaction.
        line_id: the line.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such line, or it was changed since.
    """
    row = require(session, SHEET_LINE, line_id)
    with changing(session, "sheet withdraw", reason) as act:
        act.withdraw(SHEET_LINE, row, seen=seen)


def amend_measurement(
    session: Session,
    measurement_id: int,
    built: BuiltMeasurement,
    *,
    seen: int | None = None,
    reason: str = "",
) -> RecordedMeasurement:
    """Correct a measurement of a build sheet.

    Args:
        session: of a writing transaction.
        measurement_id: the measurement.
        built: what it should say.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such measurement, it was changed since, or it cannot say so.
    """
    row = require(session, BUILT_MEASUREMENT, measurement_id)
    with changing(session, "sheet amend", reason) as act:
        act.amend(BUILT_MEASUREMENT, row, seen=seen, **_measurement_columns(built))
    return _to_measurement(row)


def withdraw_measurement(
    session: Session, measurement_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a measurement of a build sheet.

    Args:
        session: of a writing transaction.
        measurement_id: the measurement.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such measurement, or it was changed since.
    """
    row = require(session, BUILT_MEASUREMENT, measurement_id)
    with changing(session, "sheet withdraw", reason) as act:
        act.withdraw(BUILT_MEASUREMENT, row, seen=seen)


def lines_of(session: Session, engine_id: str | None = None) -> tuple[RecordedLine, ...]:
    """Return the lines of build sheets, of an engine or of all, in the order of their entry."""
    rows = session.scalars(_of_live_builds(select(SheetLineRow), SheetLineRow, engine_id))
    return tuple(_to_line(row) for row in rows)


def measurements_of(
    session: Session, engine_id: str | None = None
) -> tuple[RecordedMeasurement, ...]:
    """Return the measurements of build sheets, of an engine or of all, in the order of entry."""
    query = _of_live_builds(select(BuiltMeasurementRow), BuiltMeasurementRow, engine_id)
    return tuple(_to_measurement(row) for row in session.scalars(query))


def _of_live_builds(query: Select[Any], table: type[Any], engine_id: str | None) -> Select[Any]:
    """Restrict a query to what was not withdrawn, nor the refresh that it is of."""
    live = query.outerjoin(RefreshRow, RefreshRow.id == table.refresh_id).where(
        table.withdrawn_at.is_(None), RefreshRow.withdrawn_at.is_(None)
    )
    if engine_id is not None:
        live = live.where(table.engine_id == engine_id)
    return live.order_by(table.id)


def _fit(
    session: Session,
    act: Act,
    engine_id: str,
    refresh: RefreshRow | None,
    line: SheetLine,
    part_id: str,
) -> None:
    at = require_engine(session, engine_id).built_at if refresh is None else refresh.at
    if at is None:
        raise RegisterError(
            f"It is not known when engine {engine_id} was built, so {part_id} cannot be fitted "
            f"then: say when, or fit it by itself.",
            Remedy("correct_built", engine_id),
            Remedy("fit_part", part_id),
        )
    if not is_in(session, part_id, engine_id, line.position, at):
        put_in(session, act, part_id, engine_id, line.position, at, replacing=True)


def _measurement_columns(built: BuiltMeasurement) -> dict[str, Any]:
    return {"part": built.part, "position": built.position, **asdict(built.measurement)}


def _settle_line(session: Session, row: SheetLineRow, _before: Mapping[str, Any]) -> None:
    if row.withdrawn_at is not None:
        return
    _require_place(session, row.engine_id, row.part, row.position)
    if row.action not in ACTIONS:
        raise RegisterError(f"{row.action!r} is no action: choose {', '.join(ACTIONS)}.")
    if row.part_id is not None:
        kind = session.get_one(PartRow, row.part_id).kind
        if kind != row.part:
            raise RegisterError(
                f"The part {row.part_id} is a {kind}, not a {row.part}: correct the line."
            )
    _refuse_twice(session, SHEET_LINE, row, ("part", "position"))


def _settle_measurement(
    session: Session, row: BuiltMeasurementRow, _before: Mapping[str, Any]
) -> None:
    if row.withdrawn_at is not None:
        return
    if row.part is not None:
        _require_place(session, row.engine_id, row.part, row.position)
    _refuse_twice(session, BUILT_MEASUREMENT, row, ("part", "position", "name"))


def _require_place(session: Session, engine_id: str, part: str, position: str | None) -> None:
    layout = spec_of(session, engine_id).engine.arrangement
    require_position(part, position, layout)


def _refuse_twice(session: Session, record: Record, row: Any, columns: tuple[str, ...]) -> None:
    """Refuse what stands on the sheet of the same build already."""
    table = record.row
    same = select(table.id).where(
        table.engine_id == row.engine_id,
        *(
            getattr(table, name).is_not_distinct_from(getattr(row, name))
            for name in ("refresh_id", *columns)
        ),
        table.id != row.id,
        table.withdrawn_at.is_(None),
    )
    if session.scalar(same.limit(1)) is not None:
        raise RegisterError(f"There is {by_name(record, row)} already: correct that one.")


def _to_line(row: SheetLineRow) -> RecordedLine:
    line = SheetLine(row.part, row.position, cast(Action, row.action), row.part_id, row.note)
    return RecordedLine(row.id, row.engine_id, row.refresh_id, line, row.version)


def _to_measurement(row: BuiltMeasurementRow) -> RecordedMeasurement:
    measurement = Measurement(row.name, row.value, row.unit, row.low, row.high)
    built = BuiltMeasurement(measurement, row.part, row.position)
    return RecordedMeasurement(row.id, row.engine_id, row.refresh_id, built, row.version)


SHEET_LINE = Record(
    SheetLineRow,
    about=("engine_id", "part", "position"),
    settle=_settle_line,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt journal",
)
BUILT_MEASUREMENT = Record(
    BuiltMeasurementRow,
    about=("engine_id", "part", "position", "name"),
    settle=_settle_measurement,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt journal",
)
