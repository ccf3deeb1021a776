"""What the sensors of runs read, how runs were read, and what speaks against either."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.records import RunRecord
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.register.journal.changes import changing
from babbitt.register.records.runs import RUN, run_row, to_record
from babbitt.register.tables.models import RunRow, SensorSummaryRow

if TYPE_CHECKING:
    from babbitt.model.run import RunOutline


@dataclass(frozen=True)
class Compared:
    """A run as far as comparing its sensors with those of others needs it.

    Attributes:
        run_id: the run.
        started_at: UTC.
        trusted: a person found its sensors sound.
        doubts_key: "" unless there are grave doubts.
        key: of what its sensors read; None: that was not kept.
        compared_by: key of what it was last compared with; None: not yet.
    """

    run_id: str
    started_at: datetime
    trusted: bool
    doubts_key: str
    key: str | None
    compared_by: str | None


def save_reading(session: Session, run_id: str, read_as: Mapping[str, Any], summary: str) -> None:
    """Keep how a run was read and what its sensors read; it needs comparing anew.

    Args:
        session: of a writing transaction.
        run_id: the run.
        read_as: how it was read, as JSON can hold it.
        summary: what its sensors read, as the stage that summed it up wrote it.
    """
    run_row(session, run_id).read_as = dict(read_as)
    key = hashlib.sha256(summary.encode()).hexdigest()[:16]
    session.merge(SensorSummaryRow(run_id=run_id, text=summary, key=key, compared_by=None))
    session.flush()


def runs_to_compare(session: Session, engine_id: str) -> tuple[Compared, ...]:
    """Return the logged runs of an engine that count, in the order of their start; one query."""
    query = (
        select(
            RunRow.run_id,
            RunRow.started_at,
            RunRow.trusted,
            RunRow.doubts_key,
            SensorSummaryRow.key,
            SensorSummaryRow.compared_by,
        )
        .outerjoin(SensorSummaryRow, SensorSummaryRow.run_id == RunRow.run_id)
        .where(RunRow.engine_id == engine_id)
        .where(RunRow.removed_at.is_(None), RunRow.unlogged.is_(False))
        .order_by(RunRow.started_at, RunRow.run_id)
    )
    return tuple(Compared(*row) for row in session.execute(query))


def summaries_of(session: Session, run_ids: Collection[str]) -> dict[str, str]:
    """Return what the sensors of some runs read, by run; those for which none was kept are out."""
    query = select(SensorSummaryRow.run_id, SensorSummaryRow.text)
    found = session.execute(query.where(SensorSummaryRow.run_id.in_(run_ids)))
    return {row.run_id: row.text for row in found}


def save_doubts(
    session: Session,
    run_id: str,
    doubts: Sequence[SensorDoubt],
    *,
    compared_by: str,
    grave: Collection[str],
) -> RunRecord:
    """Put what speaks against the sensors of a run in place of what did before.

    Args:
        session: of a writing transaction.
        run_id: the run.
        doubts: all there are.
        compared_by: key of what it was compared with.
        grave: the sorts of doubt after which it is no example of a sound run.
    """
    row = run_row(session, run_id)
    row.doubts = [asdict(doubt) | {"channels": list(doubt.channels)} for doubt in doubts]
    names = [f"{d.sort}:{','.join(d.channels)}" for d in doubts if d.sort in grave]
    digest = hashlib.sha256(";".join(names).encode()).hexdigest()[:12]
    row.doubts_key = f"/{digest}" if names else ""
    session.get_one(SensorSummaryRow, run_id).compared_by = compared_by
    session.flush()
    return to_record(row)


def reread_run(
    session: Session,
    before: RunRecord,
    run: RunOutline,
    read_as: Mapping[str, Any],
    reason: str = "",
) -> None:
    """Write down that the log of a run was read again, and how; it needs judging anew.

    What follows from that, `runs.replace_reading` and `save_reading` keep.

    Args:
        session: of a writing transaction.
        before: the run as it was when it was looked at.
        run: as it was read now.
        read_as: how.
        reason: for the journal.

    Raises:
        RegisterError: it was changed meanwhile, or cannot have been when it says now.
    """
    row = run_row(session, before.run_id)
    with changing(session, "run reread", reason) as act:
        act.amend(
            RUN,
            row,
            seen=before.version,
            read_as=dict(read_as),
            started_at=run.info.started_at,
            duration_s=run.duration_s,
            trusted=False,
        )


def trust_run(
    session: Session, run_id: str, reason: str = "", *, seen: int | None = None
) -> RunRecord:
    """Write down that a person looked at the sensors of a run and found nothing wrong.

    Args:
        session: of a writing transaction.
        run_id: the run, or the beginning of its id.
        reason: for the journal.
        seen: version of the run that the person looked at.

    Raises:
        RegisterError: no such run, it has no sensors, is trusted already, or was changed since.
    """
    row = run_row(session, run_id)
    if row.unlogged:
        raise RegisterError(f"The run {row.run_id} has no log, and so no sensors to trust.")
    if row.trusted:
        raise RegisterError(f"The sensors of the run {row.run_id} are trusted already.")
    with changing(session, "run trust", reason) as act:
        act.amend(RUN, row, seen=seen, trusted=True)
    return to_record(row)
