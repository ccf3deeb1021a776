"""Corrections of runs: each is kept in the journal with its reason, and can be undone."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any, TypedDict, Unpack

from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.records import RunRecord
from babbitt.register.journal.changes import changing
from babbitt.register.journal.fields import shown
from babbitt.register.records.circuits import spelled
from babbitt.register.records.engines import require_engine
from babbitt.register.records.runs import RUN, refuse_overlap, run_row, to_record
from babbitt.register.tables.models import RunRow

_MOST_MINUTES = 24 * 60
"""No entry of unlogged running is longer than a day's race."""


def assign_run(
    session: Session,
    run_id: str,
    engine_id: str,
    reason: str = "",
    *,
    keep_both: bool = False,
    seen: int | None = None,
) -> RunRecord:
    """Give a run to the engine that really made it; it needs judging anew.

    The journal of either engine shows it.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        engine_id: the engine that made it.
        reason: for the journal.
        keep_both: let it overlap a run that the engine has.
        seen: version of the run that the person looked at.

    Raises:
        RegisterError: no such run or engine, nothing to change, it was changed since, a run from
            before the engine was built, or one that overlaps another of its runs.
    """
    row = run_row(session, run_id)
    if row.engine_id == engine_id:
        raise RegisterError(f"The run {row.run_id} is of engine {engine_id} already.")
    require_engine(session, engine_id)
    with changing(session, "run assign", reason) as act:
        act.amend(RUN, row, seen=seen, engine_id=engine_id)
        if not keep_both:
            refuse_overlap(session, row)
    return to_record(row)


def add_unlogged(
    session: Session,
    engine_id: str,
    *,
    minutes: float,
    at: datetime,
    circuit: str | None = None,
    reason: str = "",
) -> RunRecord:
    """Add running that no logger saw: its time counts, all else of it stays unknown.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        minutes: how long it ran.
        at: when it began.
        circuit: where it was.
        reason: for the journal.

    Raises:
        RegisterError: no such engine, a time that cannot be, the same entry twice, or a circuit of
            too long a name.
    """
    require_engine(session, engine_id)
    duration_s = _duration_s(minutes)
    row = RunRow(
        run_id="u" + uuid.uuid4().hex[:15],
        engine_id=engine_id,
        started_at=at,
        ended_at=at + timedelta(seconds=duration_s),
        start_basis="stated",
        duration_s=duration_s,
        samples=0,
        source_name="",
        source_sha256=None,
        dialect=[],
        conversions=[],
        warnings=[],
        channels=[],
        ingested_at=datetime.now(UTC),
        removed_at=None,
        unlogged=True,
        judged_by=None,
        circuit=spelled(session, circuit or ""),
    )
    with changing(session, "run add-unlogged", reason) as act:
        act.create(RUN, row)
    return to_record(row)


class RunChange(TypedDict, total=False):
    """What may be corrected of a run; its start and length only where nobody logged it.

    A circuit of None or "" is unknown.
    """

    at: datetime
    minutes: float
    circuit: str | None


def amend_run(
    session: Session,
    run_id: str,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[RunChange],
) -> RunRecord:
    """Correct where a run was; of unlogged running also when it began, or how long it was.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        seen: version of the run that the person looked at.
        reason: for the journal.
        **changes: see `RunChange`.

    Raises:
        RegisterError: no such run, it has a log that says when it was, it was changed since, or
            the time or circuit cannot be.
    """
    row = run_row(session, run_id)
    if changes.keys() - {"circuit"} and not row.unlogged:
        raise RegisterError(
            f"The run {row.run_id} has a log that says when it was: to correct that, remove it and "
            "take the log in again, with its start stated."
        )
    values: dict[str, Any] = {}
    if "at" in changes:
        values["started_at"] = changes["at"]
    if "minutes" in changes:
        values["duration_s"] = _duration_s(changes["minutes"])
    if "circuit" in changes:
        values["circuit"] = spelled(session, changes["circuit"] or "")
    with changing(session, "run amend", reason) as act:
        act.amend(RUN, row, seen=seen, **values)
    return to_record(row)


def set_circuit(
    session: Session, run_ids: Iterable[str], circuit: str, reason: str = ""
) -> tuple[RunRecord, ...]:
    """Say at which circuit runs were, all of them in one act.

    Args:
        session: of a writing transaction.
        run_ids: the runs, or the beginnings of their ids.
        circuit: where they were; "" is unknown.
        reason: for the journal.

    Raises:
        RegisterError: no such run, or a circuit of too long a name.
    """
    rows = [run_row(session, run_id) for run_id in run_ids]
    at = spelled(session, circuit)
    with changing(session, "run amend", reason) as act:
        for row in rows:
            act.amend(RUN, row, circuit=at)
    return tuple(to_record(row) for row in rows)


def remove_run(
    session: Session, run_id: str, reason: str = "", *, seen: int | None = None
) -> RunRecord:
    """Take a run out of every sum; it stays in the register and can be restored.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        reason: for the journal.
        seen: version of the run that the person looked at.

    Raises:
        RegisterError: no such run, it is removed already, or it was changed since.
    """
    row = run_row(session, run_id)
    if row.removed_at is not None:
        raise RegisterError(f"The run {row.run_id} was removed already ({shown(row.removed_at)}).")
    with changing(session, "run remove", reason) as act:
        act.withdraw(RUN, row, seen=seen)
    return to_record(row)


def restore_run(
    session: Session, run_id: str, reason: str = "", *, keep_both: bool = False
) -> RunRecord:
    """Count a removed run again.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        reason: for the journal.
        keep_both: let it overlap a run that the engine has.

    Raises:
        RegisterError: no such run, it is not removed, or it overlaps another run of its engine.
    """
    row = run_row(session, run_id)
    if row.removed_at is None:
        raise RegisterError(f"The run {row.run_id} is not removed: nothing to restore.")
    with changing(session, "run restore", reason) as act:
        act.amend(RUN, row, removed_at=None)
        if not keep_both:
            refuse_overlap(session, row)
    return to_record(row)


def _duration_s(minutes: float) -> float:
    if not 0 < minutes <= _MOST_MINUTES:
        raise RegisterError(
            f"{minutes:g} minutes of unlogged running cannot be one entry: give more than 0 and "
            f"at most {_MOST_MINUTES}."
        )
    return 60.0 * minutes
