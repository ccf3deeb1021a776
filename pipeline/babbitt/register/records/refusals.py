"""Logs that were refused for what is in them, kept until they are runs or are given up."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, delete, exists, func, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.register.journal.changes import keepable
from babbitt.register.records.engines import require_engine
from babbitt.register.records.runs import CANDIDATES, ambiguous
from babbitt.register.tables.models import EngineRow, RefusalRow, RunRow


@dataclass(frozen=True)
class Refusal:
    """A log that was refused and is no run since.

    Attributes:
        sha256: of its bytes; any unique beginning of it names the log.
        file: its file name.
        engine_id: the engine that it was to be taken in for.
        error: why it was refused, one sentence.
        remedies: that would settle it.
        at: UTC, when it was refused, the last time where it was so more than once.
        set_aside_at: UTC, when a person gave it up; None: nobody did.
    """

    sha256: str
    file: str
    engine_id: str
    error: str
    remedies: tuple[Remedy, ...]
    at: datetime
    set_aside_at: datetime | None = None


def note_refusal(session: Session, refusal: Refusal) -> None:
    """Remember that a log was refused, or bring what is remembered of it up to date.

    What a person set aside stays so: a folder that is taken in again must not bring it back. A log
    that another writer took in meanwhile is a run, and nothing is noted.

    Args:
        session: of a writing transaction.
        refusal: what it was refused for; `set_aside_at` is left as it is.
    """
    if session.scalar(select(_is_run(refusal.sha256))):
        return
    before = session.get(RefusalRow, refusal.sha256)
    said = asdict(refusal) | {
        "file": keepable(refusal.file),
        "error": keepable(refusal.error),
        "remedies": [
            asdict(each) | {"target": keepable(each.target), "value": keepable(each.value)}
            for each in refusal.remedies
        ],
        "set_aside_at": None if before is None else before.set_aside_at,
    }
    session.merge(RefusalRow(**said))
    session.flush()


def forget_refusal(session: Session, sha256: str) -> None:
    """Forget that a log was refused, since it was taken in; nothing where it was not."""
    session.execute(delete(RefusalRow).where(RefusalRow.sha256 == sha256))


def list_refusals(
    session: Session, *, engine_id: str | None = None, include_set_aside: bool = False
) -> tuple[Refusal, ...]:
    """Return the logs that were refused, the newest first.

    Args:
        session: of a transaction.
        engine_id: only those for this engine.
        include_set_aside: those that a person gave up, too.

    Raises:
        RegisterError: no such engine.
    """
    query = select(RefusalRow).where(*_standing())
    if engine_id is not None:
        require_engine(session, engine_id)
        query = query.where(RefusalRow.engine_id == engine_id)
    if not include_set_aside:
        query = query.where(RefusalRow.set_aside_at.is_(None))
    rows = session.scalars(query.order_by(RefusalRow.at.desc(), RefusalRow.sha256))
    return tuple(_to_refusal(row) for row in rows)


def count_refusals(session: Session, until: datetime | None = None) -> int:
    """Return how many logs were refused and are neither runs nor set aside.

    Args:
        session: of a transaction.
        until: only those refused by then, UTC.
    """
    query = select(func.count()).select_from(RefusalRow)
    query = query.where(*_standing(), RefusalRow.set_aside_at.is_(None))
    if until is not None:
        query = query.where(RefusalRow.at <= until)
    return session.scalar(query) or 0


def set_aside(session: Session, log_id: str) -> Refusal:
    """Give a refused log up, so that it is counted no more.

    Args:
        session: of a writing transaction.
        log_id: its SHA-256, or the beginning of it.

    Raises:
        RegisterError: no refused log begins so, or several do; names them.
    """
    row = _row(session, log_id)
    if row.set_aside_at is None:
        row.set_aside_at = datetime.now(UTC)
    return _to_refusal(row)


def take_up(session: Session, log_id: str) -> Refusal:
    """Count a refused log again that was set aside; takes and raises as `set_aside` does."""
    row = _row(session, log_id)
    row.set_aside_at = None
    return _to_refusal(row)


def _standing() -> tuple[ColumnElement[bool], ...]:
    """Return the conditions under which a refusal still says something.

    A run that was removed may have been refused since, and be restored after that; the engine may
    have been withdrawn.
    """
    withdrawn = EngineRow.withdrawn_at.is_not(None)
    gone = exists().where(EngineRow.engine_id == RefusalRow.engine_id, withdrawn)
    return ~_is_run(RefusalRow.sha256), ~gone


def _is_run(sha256: object) -> ColumnElement[bool]:
    return exists().where(RunRow.source_sha256 == sha256, RunRow.removed_at.is_(None))


def _row(session: Session, log_id: str) -> RefusalRow:
    begins = RefusalRow.sha256.startswith(log_id, autoescape=True)
    query = select(RefusalRow).where(begins, *_standing()).order_by(RefusalRow.sha256)
    rows = session.scalars(query.limit(CANDIDATES + 1)).all()
    if not rows or not log_id:
        raise RegisterError(
            f"There is no refused log {log_id!r}: look it up in the list.", Remedy("list_refused")
        )
    if len(rows) > 1:
        raise RegisterError(ambiguous("refused log", log_id, [row.sha256 for row in rows]))
    return rows[0]


def _to_refusal(row: RefusalRow) -> Refusal:
    remedies = tuple(Remedy(**raw) for raw in row.remedies)
    return Refusal(
        row.sha256, row.file, row.engine_id, row.error, remedies, row.at, row.set_aside_at
    )
