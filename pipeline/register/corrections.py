"""Corrections of runs: each is kept in the journal with its reason, and can be undone."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline.errors import RegisterError
from pipeline.register.engines import refuse_impossible, shown
from pipeline.register.journal import as_text, write_down
from pipeline.register.models import ExposureRow, RunRow
from pipeline.register.runs import overlapping_runs, run_row, to_record
from pipeline.register.values import RunRecord

_MOST_MINUTES = 24 * 60
"""No entry of unlogged running is longer than a day's race."""


def assign_run(
    session: Session, run_id: str, engine_id: str, reason: str = "", *, keep_both: bool = False
) -> RunRecord:
    """Give a run to the engine that really made it; it needs judging anew.

    The journal of either engine shows it.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        engine_id: the engine that made it.
        reason: for the journal.
        keep_both: let it overlap a run that the engine has.

    Raises:
        RegisterError: no such run or engine, nothing to change, a run from before the engine was
            built, or one that overlaps another of its runs.
    """
    row = run_row(session, run_id)
    before = row.engine_id
    if before == engine_id:
        raise RegisterError(f"The run {row.run_id} is of engine {engine_id} already.")
    refuse_impossible(session, engine_id, row.started_at, f"The run {row.run_id}")
    if not keep_both:
        _refuse_overlap(session, row, engine_id)
    row.engine_id = engine_id
    row.judged_by = None
    what = {
        "run": row.run_id,
        "before": {"engine_id": before},
        "after": {"engine_id": engine_id},
    }
    write_down(session, "run assigned away", before, what, reason)
    write_down(session, "run assign", engine_id, what, reason)
    session.flush()
    return to_record(row)


def add_unlogged(
    session: Session, engine_id: str, *, minutes: float, at: datetime, reason: str = ""
) -> RunRecord:
    """Add running that no logger saw: its time counts, all else of it stays unknown.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        minutes: how long it ran.
        at: when it began.
        reason: for the journal.

    Raises:
        RegisterError: no such engine, a time that cannot be, or the same entry twice.
    """
    refuse_impossible(session, engine_id, at, "The unlogged running")
    if not 0 < minutes <= _MOST_MINUTES:
        raise RegisterError(
            f"{minutes:g} minutes of unlogged running cannot be one entry: give more than 0 and "
            f"at most {_MOST_MINUTES}."
        )
    same = select(RunRow.run_id).where(
        RunRow.engine_id == engine_id,
        RunRow.started_at == at,
        RunRow.unlogged.is_(True),
        RunRow.removed_at.is_(None),
    )
    there = session.scalar(same)
    if there is not None:
        raise RegisterError(
            f"The engine {engine_id} has unlogged running at {shown(at)} already (run {there}): "
            f"remove that first with `babbitt run remove {there}`."
        )
    duration_s = 60.0 * minutes
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
    )
    session.add(row)
    session.flush()
    session.add(ExposureRow(run_id=row.run_id, running_s=duration_s))
    after = {"at": as_text(at), "minutes": minutes}
    what = {"run": row.run_id, "before": None, "after": after}
    write_down(session, "run add-unlogged", engine_id, what, reason)
    session.flush()
    return to_record(row)


def remove_run(session: Session, run_id: str, reason: str = "") -> RunRecord:
    """Take a run out of every sum; it stays in the register and can be restored.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        reason: for the journal.

    Raises:
        RegisterError: no such run, or it is removed already.
    """
    row = run_row(session, run_id)
    if row.removed_at is not None:
        raise RegisterError(f"The run {row.run_id} was removed already ({shown(row.removed_at)}).")
    return _set_removed(session, row, datetime.now(UTC), "run remove", reason)


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
    if not keep_both:
        _refuse_overlap(session, row, row.engine_id)
    return _set_removed(session, row, None, "run restore", reason)


def _set_removed(
    session: Session, row: RunRow, at: datetime | None, action: str, reason: str
) -> RunRecord:
    what = {
        "run": row.run_id,
        "before": {"removed_at": as_text(row.removed_at)},
        "after": {"removed_at": as_text(at)},
    }
    row.removed_at = at
    write_down(session, action, row.engine_id, what, reason)
    session.flush()
    return to_record(row)


def _refuse_overlap(session: Session, row: RunRow, engine_id: str) -> None:
    """Refuse a run that would be counted beside another of the same time."""
    if row.unlogged or row.start_basis == "file":
        return
    overlapping = overlapping_runs(session, engine_id, row.started_at, row.duration_s)
    others = [other.run_id for other in overlapping if other.run_id != row.run_id]
    if others:
        raise RegisterError(
            f"The run {row.run_id} overlaps {', '.join(others)} of engine {engine_id} in time: "
            f"remove the wrong one first (`babbitt run remove {others[0]}`)."
        )
