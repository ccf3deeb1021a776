"""Laps and corners of runs, and what people call the corners of a circuit."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from sqlalchemy import Select, delete, func, insert, literal, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.circuit import circuit_name
from babbitt.model.records import RunRecord
from babbitt.register.journal.changes import Record, changing
from babbitt.register.records.circuits import at_circuit, spelled
from babbitt.register.records.engines import require_engine
from babbitt.register.records.runs import to_record
from babbitt.register.tables.models import CornerNameRow, LapRow, RunLayoutRow, RunRow

if TYPE_CHECKING:
    from babbitt.model.layout import Layout


def runs_to_lap(session: Session, engine_id: str, key: str) -> tuple[RunRecord, ...]:
    """Return logged runs of an engine whose laps were not found by a key and the run's circuit.

    Raises:
        RegisterError: no such engine.
    """
    require_engine(session, engine_id)
    today = literal(key) + func.coalesce(literal(" ") + RunRow.circuit, "")
    query = (
        select(RunRow)
        .outerjoin(RunLayoutRow, RunLayoutRow.run_id == RunRow.run_id)
        .where(
            RunRow.engine_id == engine_id,
            RunRow.removed_at.is_(None),
            RunRow.unlogged.is_(False),
            RunLayoutRow.key.is_distinct_from(today),
        )
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    return tuple(map(to_record, session.scalars(query)))


def layout_key(key: str, circuit: str | None) -> str:
    """Return the key of a layout that was found by `key` for a run at a circuit."""
    return key if circuit is None else f"{key} {circuit}"


def save_layout(session: Session, run_id: str, key: str, layout: Layout | None) -> None:
    """Keep the laps and corners of a run in place of any kept before; None: it has none.

    Args:
        session: of a writing transaction.
        run_id: the run.
        key: of what they were found by, see `layout_key`.
        layout: of the run.
    """
    text = "" if layout is None else layout.to_json()
    session.merge(RunLayoutRow(run_id=run_id, key=key, text=text))
    session.flush()
    session.execute(delete(LapRow).where(LapRow.run_id == run_id))
    laps = () if layout is None else layout.laps
    rows = [{"run_id": run_id, "place": place, **asdict(lap)} for place, lap in enumerate(laps)]
    if rows:
        session.execute(insert(LapRow), rows)


def layout_of(session: Session, run_id: str) -> Layout | None:
    """Return the laps and corners of a run; None where it has none, or nobody looked yet."""
    return layouts_of(session, [run_id]).get(run_id)


def layouts_of(session: Session, run_ids: Collection[str]) -> dict[str, Layout]:
    """Return the layouts of those of these runs that have one, by run."""
    from babbitt.model.layout import Layout  # numpy, which it needs, is slow to import

    query = select(RunLayoutRow).where(RunLayoutRow.run_id.in_(run_ids), RunLayoutRow.text != "")
    return {row.run_id: Layout.from_json(row.text) for row in session.scalars(query)}


def laps_by_run(
    session: Session, engine_id: str, circuit: str | None, until: datetime
) -> tuple[int, ...]:
    """Return the laps of each run of an engine that has some, the way in as one.

    Args:
        session: of a transaction.
        engine_id: the engine.
        circuit: only runs there; None: anywhere.
        until: only runs that start before.

    Raises:
        RegisterError: no such engine.
    """
    require_engine(session, engine_id)
    query = (
        select(func.count())
        .select_from(LapRow)
        .join(RunRow, RunRow.run_id == LapRow.run_id)
        .where(
            RunRow.engine_id == engine_id,
            RunRow.removed_at.is_(None),
            RunRow.started_at < until,
            LapRow.kind.in_(("lap", "pit", "in")),
        )
        .group_by(LapRow.run_id)
        .order_by(LapRow.run_id)
    )
    if circuit is not None:
        query = query.where(at_circuit(session, circuit))
    return tuple(session.scalars(query))


def course_at(session: Session, circuit: str, *, but: str = "") -> Layout | None:
    """Return the layout of the run that was taken in first of those at a circuit; None without.

    Args:
        session: of a transaction.
        circuit: however it is written.
        but: a run that is left out.
    """
    query = (
        select(RunLayoutRow.run_id)
        .join(RunRow, RunRow.run_id == RunLayoutRow.run_id)
        .where(
            at_circuit(session, circuit),
            RunLayoutRow.text != "",
            RunRow.removed_at.is_(None),
            RunRow.run_id != but,
        )
        .order_by(RunRow.ingested_at, RunRow.run_id)
        .limit(1)
    )
    first = session.scalar(query)
    return None if first is None else layout_of(session, first)


def corner_names(session: Session, circuit: str) -> dict[int, str]:
    """Return what people call the corners of a circuit, by their numbers."""
    rows = session.scalars(_named(session, circuit).order_by(CornerNameRow.id))
    return {row.number: row.name for row in rows}


def name_corner(session: Session, circuit: str, number: int, name: str, reason: str = "") -> None:
    """Call a corner of a circuit by a name, in place of any it had; a blank one takes that away.

    Args:
        session: of a writing transaction.
        circuit: however it is written.
        number: of the corner.
        name: at most as long as that of a circuit.
        reason: for the journal.

    Raises:
        RegisterError: no run was there, it has no such corner, or the name is too long.
    """
    course = course_at(session, circuit)
    if course is None:
        raise RegisterError(f"No run with laps was at {circuit}: its corners are not known yet.")
    if number not in {corner.number for corner in course.corners}:
        raise RegisterError(
            f"{circuit} has no corner {number}: it has corners 1 to {len(course.corners)}."
        )
    said = circuit_name(name)
    rows = session.scalars(_named(session, circuit).where(CornerNameRow.number == number)).all()
    with changing(session, "corner name", reason) as act:
        if said is None:
            for row in rows:
                act.withdraw(CORNER_NAME, row)
        elif rows:
            act.amend(CORNER_NAME, rows[-1], name=said)
        else:
            place = spelled(session, circuit)
            act.create(CORNER_NAME, CornerNameRow(circuit=place, number=number, name=said))


def _named(session: Session, circuit: str) -> Select[CornerNameRow]:
    return select(CornerNameRow).where(
        CornerNameRow.circuit == spelled(session, circuit), CornerNameRow.withdrawn_at.is_(None)
    )


CORNER_NAME = Record(
    CornerNameRow,
    about=("circuit", "number"),
    settle=lambda _session, _row, _before: None,
    engine_of=lambda _session, _row: None,
    listed_by="babbitt corner list",
)
