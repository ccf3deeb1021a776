"""Teardowns and their findings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, TypedDict, Unpack, cast

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy
from babbitt.model.finding import Disposition, Finding, Measurement
from babbitt.model.part_records import FindingRecord, FitmentRecord, TeardownRecord
from babbitt.model.positions import require_position
from babbitt.model.records import Build
from babbitt.register.journal.changes import Act, Record, by_name, changing, require
from babbitt.register.journal.fields import shown
from babbitt.register.records.builds import all_builds, build_ended_at, builds_of, refreshes_of
from babbitt.register.records.engines import require_engine, spec_of
from babbitt.register.records.fitments import list_fitments, was_in
from babbitt.register.tables.part_models import FindingRow, TeardownRow


class TeardownChange(TypedDict, total=False):
    """What may be corrected of a teardown."""

    at: datetime
    note: str


def record_teardown(
    session: Session,
    engine_id: str,
    at: datetime,
    findings: Iterable[Finding],
    *,
    note: str = "",
    earlier_build: bool = False,
) -> TeardownRecord:
    """Write down that an engine was taken apart, and what was found.

    A teardown is of the build that it ends: one at the instant of a refresh is of the build before.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        at: when it began.
        findings: of the parts that were looked at; these may be some of them only.
        note: how much was taken apart, and why.
        earlier_build: it was before the newest refresh.

    Raises:
        RegisterError: no such engine, a time that cannot be, or findings that contradict.
    """
    require_engine(session, engine_id)
    refreshes = refreshes_of(session, engine_id)
    if refreshes and at < refreshes[-1].at and not earlier_build:
        raise RegisterError(
            f"The teardown is dated {shown(at)}, before the refresh of engine {engine_id} on "
            f"{shown(refreshes[-1].at)}: check the date, or say that it was the build before.",
            Remedy("earlier_build"),
        )
    row = TeardownRow(engine_id=engine_id, at=at, note=note)
    with changing(session, "teardown record", note) as act:
        act.create(TEARDOWN, row)
        _write(act, row, findings)
    return _to_teardown(row, builds_of(session, engine_id))


def add_findings(
    session: Session, teardown_id: int, findings: Iterable[Finding], *, reason: str = ""
) -> TeardownRecord:
    """Add findings to a teardown that is written down already.

    Args:
        session: of a writing transaction.
        teardown_id: the teardown.
        findings: of further parts.
        reason: for the journal.

    Raises:
        RegisterError: no such teardown, or findings that contradict.
    """
    row = require(session, TEARDOWN, teardown_id)
    with changing(session, "teardown record", reason) as act:
        _write(act, row, findings)
    return _to_teardown(row, builds_of(session, row.engine_id))


def amend_teardown(
    session: Session,
    teardown_id: int,
    *,
    seen: int | None = None,
    reason: str = "",
    **changes: Unpack[TeardownChange],
) -> TeardownRecord:
    """Correct when a teardown was, or its note.

    Args:
        session: of a writing transaction.
        teardown_id: the teardown.
        seen: its version that the person looked at.
        reason: for the journal.
        **changes: see `TeardownChange`.

    Raises:
        RegisterError: no such teardown, it was changed since, or it cannot have been then.
    """
    row = require(session, TEARDOWN, teardown_id)
    with changing(session, "teardown amend", reason) as act:
        act.amend(TEARDOWN, row, seen=seen, **changes)
    return _to_teardown(row, builds_of(session, row.engine_id))


def withdraw_teardown(
    session: Session, teardown_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a teardown that never was, and its findings.

    Args:
        session: of a writing transaction.
        teardown_id: the teardown.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such teardown, or it was changed since.
    """
    row = require(session, TEARDOWN, teardown_id)
    with changing(session, "teardown withdraw", reason) as act:
        act.withdraw(TEARDOWN, row, seen=seen)


def amend_finding(
    session: Session,
    finding_id: int,
    finding: Finding,
    *,
    seen: int | None = None,
    reason: str = "",
) -> FindingRecord:
    """Correct a finding.

    Args:
        session: of a writing transaction.
        finding_id: the finding.
        finding: what it should say.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such finding, it was changed since, or it contradicts another.
    """
    row = require(session, FINDING, finding_id)
    with changing(session, "finding amend", reason) as act:
        act.amend(FINDING, row, seen=seen, **_columns(finding))
    (record,) = _records(session, FindingRow.id == finding_id)
    return record


def withdraw_finding(
    session: Session, finding_id: int, *, seen: int | None = None, reason: str = ""
) -> None:
    """Withdraw a finding.

    Args:
        session: of a writing transaction.
        finding_id: the finding.
        seen: its version that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such finding, or it was changed since.
    """
    row = require(session, FINDING, finding_id)
    with changing(session, "finding withdraw", reason) as act:
        act.withdraw(FINDING, row, seen=seen)


def teardowns_of(session: Session, engine_id: str | None = None) -> tuple[TeardownRecord, ...]:
    """Return teardowns, oldest first.

    Args:
        session: of a transaction.
        engine_id: only those of this engine; None: of all.

    Raises:
        RegisterError: no such engine.
    """
    query = select(TeardownRow).where(TeardownRow.withdrawn_at.is_(None))
    if engine_id is not None:
        query = query.where(TeardownRow.engine_id == require_engine(session, engine_id).engine_id)
    rows = session.scalars(query.order_by(TeardownRow.at, TeardownRow.id)).all()
    builds = all_builds(session)
    return tuple(_to_teardown(row, builds[row.engine_id]) for row in rows)


def findings_of(session: Session, engine_id: str | None = None) -> tuple[FindingRecord, ...]:
    """Return findings in the order of their teardowns, then of their entry; four queries.

    Args:
        session: of a transaction.
        engine_id: only those on this engine; None: on all.

    Raises:
        RegisterError: no such engine.
    """
    if engine_id is None:
        return _records(session)
    return _records(session, TeardownRow.engine_id == require_engine(session, engine_id).engine_id)


def kept_photos(session: Session) -> frozenset[str]:
    """Return the file names of all photos of findings, withdrawn ones among them.

    A register from elsewhere may list what no photo is called; see PHOTO_NAME.
    """
    listed = session.scalars(select(FindingRow.photos))
    return frozenset(
        str(name) for names in listed for name in (names if isinstance(names, list) else [names])
    )


def _write(act: Act, teardown: TeardownRow, findings: Iterable[Finding]) -> None:
    for finding in findings:
        act.create(FINDING, FindingRow(teardown_id=teardown.id, **_columns(finding)))


def _records(session: Session, *conditions: ColumnElement[bool]) -> tuple[FindingRecord, ...]:
    query = (
        select(FindingRow, TeardownRow)
        .join(TeardownRow, TeardownRow.id == FindingRow.teardown_id)
        .where(FindingRow.withdrawn_at.is_(None), TeardownRow.withdrawn_at.is_(None), *conditions)
        .order_by(TeardownRow.at, TeardownRow.id, FindingRow.id)
    )
    builds = all_builds(session)
    fitments: dict[tuple[str, str], list[FitmentRecord]] = defaultdict(list)
    for fitment in list_fitments(session):
        fitments[fitment.engine_id, fitment.kind].append(fitment)
    return tuple(
        FindingRecord(
            finding_id=row.id,
            teardown=_to_teardown(teardown, builds[teardown.engine_id]),
            finding=finding,
            part_ids=tuple(
                fitment.part_id
                for fitment in fitments.get((teardown.engine_id, finding.part), ())
                if was_in(fitment, teardown.engine_id, finding.part, finding.position, teardown.at)
            ),
            version=row.version,
        )
        for row, teardown in session.execute(query)
        for finding in [_to_finding(row)]
    )


def _to_teardown(row: TeardownRow, builds: Sequence[Build]) -> TeardownRecord:
    number = build_ended_at(builds, row.at).number
    return TeardownRecord(row.id, row.engine_id, row.at, number, row.note, row.version)


def _columns(finding: Finding) -> dict[str, Any]:
    measured = finding.measurement
    return {
        "part": finding.part,
        "position": finding.position,
        "damage_mode": finding.damage_mode,
        "grade": finding.grade,
        "disposition": finding.disposition,
        "note": finding.note,
        "photos": list(finding.photos),
        "measured_name": measured.name if measured else None,
        "measured_value": measured.value if measured else None,
        "measured_unit": measured.unit if measured else None,
        "measured_low": measured.low if measured else None,
        "measured_high": measured.high if measured else None,
    }


def _to_finding(row: FindingRow) -> Finding:
    measurement = None
    if row.measured_name is not None and row.measured_value is not None:
        measurement = Measurement(
            row.measured_name,
            row.measured_value,
            row.measured_unit or "",
            row.measured_low,
            row.measured_high,
        )
    return Finding(
        part=row.part,
        position=row.position,
        damage_mode=row.damage_mode,
        grade=row.grade,
        measurement=measurement,
        disposition=cast(Disposition, row.disposition),
        note=row.note,
        photos=tuple(row.photos),
    )


def _settle_teardown(session: Session, row: TeardownRow, _before: Mapping[str, Any]) -> None:
    if row.withdrawn_at is not None:
        return
    built_at = require_engine(session, row.engine_id).built_at
    if built_at is not None and row.at <= built_at:
        raise RegisterError(
            f"The teardown is dated {shown(row.at)}, and the engine {row.engine_id} was built at "
            f"{shown(built_at)}: check the date and the engine."
        )
    same = select(TeardownRow.id).where(
        TeardownRow.engine_id == row.engine_id,
        TeardownRow.at == row.at,
        TeardownRow.id != row.id,
        TeardownRow.withdrawn_at.is_(None),
    )
    if session.scalar(same) is not None:
        raise RegisterError(
            f"There is a teardown of engine {row.engine_id} at {shown(row.at)} already: add the "
            "findings to that one."
        )


def _settle_finding(session: Session, row: FindingRow, _before: Mapping[str, Any]) -> None:
    """Refuse a finding where no part can be, or one that another of the teardown contradicts."""
    if row.withdrawn_at is not None:
        return
    engine_id = session.get_one(TeardownRow, row.teardown_id).engine_id
    layout = spec_of(session, engine_id).engine.arrangement
    require_position(row.part, row.position, layout)
    others = select(FindingRow).where(
        FindingRow.teardown_id == row.teardown_id,
        FindingRow.part == row.part,
        FindingRow.id != row.id,
        FindingRow.withdrawn_at.is_(None),
    )
    for other in session.scalars(others):
        meet = None in (row.position, other.position) or row.position == other.position
        both = row.damage_mode == other.damage_mode
        sound_for_all = None in (row.damage_mode, other.damage_mode)
        if meet and (both or (sound_for_all and row.grade + other.grade > 0)):
            raise RegisterError(
                f"There is {by_name(FINDING, other)} already, so there cannot be "
                f"{by_name(FINDING, row)} too: correct the one that is wrong."
            )


def _engine_of_finding(session: Session, row: FindingRow) -> str:
    return session.get_one(TeardownRow, row.teardown_id).engine_id


TEARDOWN = Record(
    TeardownRow,
    about=("engine_id", "at"),
    settle=_settle_teardown,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt teardown list",
)
FINDING = Record(
    FindingRow,
    about=("part", "position", "damage_mode", "grade"),
    settle=_settle_finding,
    engine_of=_engine_of_finding,
    listed_by="babbitt teardown list",
)
