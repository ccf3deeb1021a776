"""Engines and the specs that judge them."""

from __future__ import annotations

import difflib
import re
from datetime import UTC, datetime, timedelta

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from pipeline.errors import RegisterError
from pipeline.register.journal import as_text, write_down
from pipeline.register.models import EngineRow, EngineSpecRow, RefreshRow, RunRow
from pipeline.register.values import EngineRecord
from pipeline.spec import EngineSpec, parse_spec

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
    # Folders of IDs that differ in case only would be one folder on some file systems.
    same = func.lower(EngineRow.engine_id) == engine_id.lower()
    taken = session.scalar(select(EngineRow.engine_id).where(same))
    if taken is not None:
        raise RegisterError(
            f"There is an engine {taken} already: give the new one another ID, or change its spec "
            f"with `babbitt engine spec {taken}`."
        )
    parse_spec(spec_toml, source=source)
    now = datetime.now(UTC)
    session.add(EngineRow(engine_id=engine_id, created_at=now, built_at=built_at))
    session.flush()
    session.add(EngineSpecRow(engine_id=engine_id, toml=spec_toml, since=now))
    after = {"built_at": as_text(built_at), "spec": spec_toml}
    write_down(session, "engine add", engine_id, {"before": None, "after": after})


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
    before = _spec_toml(session, engine_id)
    parse_spec(spec_toml, source=source)
    if spec_toml == before:
        return
    session.add(EngineSpecRow(engine_id=engine_id, toml=spec_toml, since=datetime.now(UTC)))
    what = {"before": {"spec": before}, "after": {"spec": spec_toml}}
    write_down(session, "engine spec", engine_id, what, reason)


def spec_of(session: Session, engine_id: str) -> EngineSpec:
    """Return the spec of an engine that is in force.

    Raises:
        RegisterError: no such engine.
        SettingsError: the spec cannot be used by this program.
    """
    return _parsed(engine_id, _spec_toml(session, engine_id))


def list_engines(session: Session) -> tuple[EngineRecord, ...]:
    """Return every engine, in the order of their IDs."""
    refreshes = (
        select(RefreshRow.engine_id, func.count().label("n"), func.max(RefreshRow.at).label("last"))
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
        .where(EngineSpecRow.id.in_(_in_force()))
        .outerjoin(refreshes, refreshes.c.engine_id == EngineRow.engine_id)
        .outerjoin(runs, runs.c.engine_id == EngineRow.engine_id)
        .order_by(EngineRow.engine_id)
    )
    return tuple(
        EngineRecord(
            engine_id=row.engine_id,
            created_at=row.created_at,
            built_at=row.built_at,
            spec=_parsed(row.engine_id, toml),
            refreshes=n_refreshes or 0,
            last_refresh=last_refresh,
            runs=n_runs or 0,
            last_run=last_run,
        )
        for row, toml, n_refreshes, last_refresh, n_runs, last_run in session.execute(query)
    )


def require_engine(session: Session, engine_id: str) -> EngineRow:
    """Return the row of an engine.

    Raises:
        RegisterError: no such engine; names the nearest.
    """
    row = session.get(EngineRow, engine_id)
    if row is not None:
        return row
    known = session.scalars(select(EngineRow.engine_id).order_by(EngineRow.engine_id)).all()
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(engine_id.casefold(), folded, n=1)
    if close:
        hint = f"did you mean {folded[close[0]]}? `babbitt engine list` shows all"
    elif known:
        hint = "`babbitt engine list` shows those there are"
    else:
        hint = "there are none yet, add it with `babbitt engine add`"
    raise RegisterError(f"There is no engine {engine_id!r}: {hint}.")


def refuse_impossible(session: Session, engine_id: str, at: datetime, what: str) -> None:
    """Refuse what is dated before the engine existed, or in the future.

    A day ahead is let pass: a clock or its zone may be off.

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
    if at > datetime.now(UTC) + timedelta(days=1):
        raise RegisterError(f"{what} is dated {shown(at)}, in the future: check the date.")


def shown(at: datetime) -> str:
    """Return an instant for a sentence."""
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def _in_force() -> Select[int]:
    return select(func.max(EngineSpecRow.id)).group_by(EngineSpecRow.engine_id)


def _spec_toml(session: Session, engine_id: str) -> str:
    require_engine(session, engine_id)
    newest = select(EngineSpecRow.toml).where(EngineSpecRow.engine_id == engine_id)
    return session.scalars(newest.order_by(EngineSpecRow.id.desc()).limit(1)).one()


def _parsed(engine_id: str, toml: str) -> EngineSpec:
    return parse_spec(toml, source=f"the spec of engine {engine_id}")
