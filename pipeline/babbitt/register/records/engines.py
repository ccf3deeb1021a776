"""Engines and the specs that judge them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError, Remedy, SettingsError
from babbitt.model.engine_spec import EngineSpec, kept_spec, parse_spec
from babbitt.model.records import EngineRecord
from babbitt.register.journal.changes import Record, changing
from babbitt.register.journal.fields import shown
from babbitt.register.tables.models import EngineRow, EngineSpecRow, RefreshRow, RunRow
from babbitt.register.tables.part_models import FitmentRow, HistoryRow, TeardownRow

_ENGINE_ID = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,62}[A-Za-z0-9_-])?")


def add_engine(
    session: Session,
    engine_id: str,
    spec_toml: str,
    *,
    source: str = "the spec",
    built_at: datetime | None = None,
) -> None:
    """Add an engine.

    Args:
        session: of a writing transaction.
        engine_id: its serial number or name: up to 64 letters, digits, dots, dashes and
            underscores; it becomes a folder name.
        spec_toml: its spec, as TOML.
        source: where the spec came from, to quote in errors.
        built_at: when the engine came into existence; runs from before are refused.

    Raises:
        RegisterError: the ID is taken or cannot be a folder name.
        SettingsError: the spec cannot be used.
    """
    if not _ENGINE_ID.fullmatch(engine_id):
        raise RegisterError(
            f"{engine_id!r} cannot be an engine's ID: use up to 64 letters, digits, dots, dashes "
            "and underscores, beginning with a letter or digit and not ending with a dot."
        )
    parse_spec(spec_toml, source=source)
    now = datetime.now(UTC)
    row = session.get(EngineRow, engine_id)
    if row is None or row.withdrawn_at is None:
        _refuse_taken(session, engine_id, but=None)
    with changing(session, "engine add") as act:
        if row is None:
            row = EngineRow(engine_id=engine_id, created_at=now, built_at=built_at)
            act.create(ENGINE, row)
        else:
            act.amend(ENGINE, row, withdrawn_at=None, built_at=built_at)
        spec = EngineSpecRow(engine_id=engine_id, toml=spec_toml, since=now)
        act.create(ENGINE_SPEC, spec)


def set_spec(
    session: Session, engine_id: str, spec_toml: str, *, source: str = "the spec", reason: str = ""
) -> None:
    """Put another spec of an engine in force; the old one is kept.

    Events found under the old limits are told by their `spec_version` until the runs are judged
    again.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        spec_toml: the spec, as TOML.
        source: where it came from, to quote in errors.
        reason: for the journal.

    Raises:
        RegisterError: no such engine.
        SettingsError: the spec cannot be used.
    """
    before = spec_text_of(session, engine_id)
    parse_spec(spec_toml, source=source)
    if spec_toml == before:
        return
    row = EngineSpecRow(engine_id=engine_id, toml=spec_toml, since=datetime.now(UTC))
    with changing(session, "engine spec", reason) as act:
        act.create(ENGINE_SPEC, row)


def set_built(
    session: Session,
    engine_id: str,
    built_at: datetime | None,
    *,
    seen: int | None = None,
    reason: str = "",
) -> None:
    """Correct when an engine came into existence.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        built_at: when; None: nobody knows.
        seen: version of the engine that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such engine, it was changed since, or it has records from before then.
    """
    row = require_engine(session, engine_id)
    with changing(session, "engine built", reason) as act:
        act.amend(ENGINE, row, seen=seen, built_at=built_at)


def withdraw_engine(
    session: Session, engine_id: str, *, seen: int | None = None, reason: str = ""
) -> None:
    """Take an engine out of the register that should not be in it; adding it again brings it back.

    Args:
        session: of a writing transaction.
        engine_id: the engine.
        seen: version of the engine that the person looked at.
        reason: for the journal.

    Raises:
        RegisterError: no such engine, it was changed since, or it has records that count.
    """
    row = require_engine(session, engine_id)
    with changing(session, "engine withdraw", reason) as act:
        act.withdraw(ENGINE, row, seen=seen)


def spec_of(session: Session, engine_id: str) -> EngineSpec:
    """Return the spec of an engine that is in force.

    Raises:
        RegisterError: no such engine.
        SettingsError: the spec cannot be used by this program.
    """
    return kept_spec(engine_id, spec_text_of(session, engine_id))


def list_engines(session: Session) -> tuple[EngineRecord, ...]:
    """Return every engine, in the order of their IDs."""
    refreshes = (
        select(RefreshRow.engine_id, func.count().label("n"), func.max(RefreshRow.at).label("last"))
        .where(RefreshRow.withdrawn_at.is_(None))
        .group_by(RefreshRow.engine_id)
        .subquery()
    )
    runs = (
        select(RunRow.engine_id, func.count().label("n"), func.max(RunRow.started_at).label("last"))
        .where(RunRow.removed_at.is_(None))
        .group_by(RunRow.engine_id)
        .subquery()
    )
    query = (
        select(
            EngineRow,
            EngineSpecRow.toml,
            refreshes.c.n,
            refreshes.c.last,
            runs.c.n,
            runs.c.last,
        )
        .join(EngineSpecRow, EngineSpecRow.engine_id == EngineRow.engine_id)
        .where(EngineSpecRow.id.in_(_in_force()), EngineRow.withdrawn_at.is_(None))
        .outerjoin(refreshes, refreshes.c.engine_id == EngineRow.engine_id)
        .outerjoin(runs, runs.c.engine_id == EngineRow.engine_id)
        .order_by(EngineRow.engine_id)
    )
    return tuple(
        EngineRecord(
            engine_id=row.engine_id,
            created_at=row.created_at,
            built_at=row.built_at,
            toml=toml,
            refreshes=n_refreshes or 0,
            last_refresh=last_refresh,
            runs=n_runs or 0,
            last_run=last_run,
            version=row.version,
        )
        for row, toml, n_refreshes, last_refresh, n_runs, last_run in session.execute(query)
    )


def specs_of(
    records: Iterable[EngineRecord],
) -> tuple[dict[str, EngineSpec], dict[str, SettingsError]]:
    """Return the specs in force by engine, and what is wrong with those that cannot be used."""
    usable: dict[str, EngineSpec] = {}
    faults: dict[str, SettingsError] = {}
    for record in records:
        try:
            usable[record.engine_id] = record.spec
        except SettingsError as error:
            faults[record.engine_id] = error
    return usable, faults


def not_withdrawn(session: Session, engine_ids: Iterable[str]) -> tuple[str, ...]:
    """Return the engines that count among some, in their order."""
    query = select(EngineRow.engine_id).where(EngineRow.withdrawn_at.is_(None))
    there = set(session.scalars(query))
    return tuple(each for each in engine_ids if each in there)


def require_engine(session: Session, engine_id: str) -> EngineRow:
    """Return the row of an engine.

    Raises:
        RegisterError: no such engine; names the nearest.
    """
    row = session.get(EngineRow, engine_id)
    if row is not None and row.withdrawn_at is None:
        return row
    there = select(EngineRow.engine_id).where(EngineRow.withdrawn_at.is_(None))
    known = session.scalars(there.order_by(EngineRow.engine_id)).all()
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(engine_id.casefold(), folded, n=1)
    if close:
        hint, remedy = f"did you mean {folded[close[0]]}?", Remedy("list_engines")
    elif known:
        hint, remedy = "look it up in the list.", Remedy("list_engines")
    else:
        hint, remedy = "there are none yet, add it first.", Remedy("add_engine", engine_id)
    raise RegisterError(f"There is no engine {engine_id!r}: {hint}", remedy)


def refuse_before_built(session: Session, engine_id: str, at: datetime, what: str) -> None:
    """Refuse what is dated before the engine existed.

    Args:
        session: of a transaction.
        engine_id: the engine.
        at: when.
        what: what is dated so, to begin the sentence with.

    Raises:
        RegisterError: it is dated so, or there is no such engine.
    """
    built = require_engine(session, engine_id).built_at
    if built is not None and at < built:
        raise RegisterError(
            f"{what} is dated {shown(at)}, before the engine {engine_id} was built "
            f"({shown(built)}): check the date and the engine."
        )


def _refuse_taken(session: Session, engine_id: str, *, but: str | None) -> None:
    """Refuse an ID that another engine has, in any case of its letters.

    Folders of IDs that differ in case only would be one folder on some file systems.
    """
    query = select(EngineRow.engine_id).where(
        func.lower(EngineRow.engine_id) == engine_id.lower(),
        EngineRow.engine_id.is_distinct_from(but),
        EngineRow.withdrawn_at.is_(None),
    )
    taken = session.scalar(query)
    if taken is not None:
        raise RegisterError(
            f"There is an engine {taken} already: give the new one another ID, or change its spec.",
            Remedy("set_spec", taken),
        )


def _settle_engine(session: Session, row: EngineRow, before: Mapping[str, Any]) -> None:
    if row.withdrawn_at is None:
        _refuse_taken(session, row.engine_id, but=row.engine_id)
    if not before:
        return  # a new engine has no records yet
    for what, at, withdrawn in _DATED:
        of_engine = at.class_.engine_id == row.engine_id
        first = session.scalar(select(func.min(at)).where(of_engine, withdrawn.is_(None)))
        if first is None:
            continue
        if row.withdrawn_at is not None:
            raise RegisterError(
                f"The engine {row.engine_id} has a {what} ({shown(first)}) that counts: correct "
                "or withdraw that first."
            )
        if row.built_at is not None and first < row.built_at:
            raise RegisterError(
                f"The engine {row.engine_id} cannot have been built on {shown(row.built_at)}: it "
                f"has a {what} from {shown(first)}."
            )


_DATED = (
    ("run", RunRow.started_at, RunRow.removed_at),
    ("refresh", RefreshRow.at, RefreshRow.withdrawn_at),
    ("part fitted", FitmentRow.since, FitmentRow.withdrawn_at),
    ("teardown", TeardownRow.at, TeardownRow.withdrawn_at),
    ("history", HistoryRow.until, HistoryRow.withdrawn_at),
)
"""What an engine has that bears a date: what it is called, its date, and when it was withdrawn."""


def _live_specs(engine_id: str) -> Select[str]:
    """Select the specs of an engine that were not withdrawn, the one in force first."""
    query = select(EngineSpecRow.toml).where(
        EngineSpecRow.engine_id == engine_id, EngineSpecRow.withdrawn_at.is_(None)
    )
    return query.order_by(EngineSpecRow.id.desc()).limit(1)


def _in_force() -> Select[int]:
    live = EngineSpecRow.withdrawn_at.is_(None)
    return select(func.max(EngineSpecRow.id)).where(live).group_by(EngineSpecRow.engine_id)


def spec_text_of(session: Session, engine_id: str) -> str:
    """Return the spec of an engine that is in force, as it was written.

    Raises:
        RegisterError: no such engine.
    """
    require_engine(session, engine_id)
    return session.scalars(_live_specs(engine_id)).one()


ENGINE = Record(
    EngineRow,
    about=("engine_id",),
    settle=_settle_engine,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt engine list",
    derived=frozenset({"created_at"}),
)
ENGINE_SPEC = Record(
    EngineSpecRow,
    about=("engine_id",),
    settle=lambda _session, _row, _before: None,
    engine_of=lambda _session, row: row.engine_id,
    listed_by="babbitt engine list",
    derived=frozenset({"since"}),
)
