"""A copy of a live register, and the files that it refers to."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from sqlalchemy import Select, column, insert, select, table
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from babbitt.errors import LogbookError
from babbitt.register.migrations import HEAD
from babbitt.register.records.teardowns import kept_photos
from babbitt.register.tables.models import Base, RunRow
from babbitt.register.tables.store import Register, copy_pages, sqlite_url

REVISION = HEAD
"""Of the registers that this program writes."""

_PLAIN_INDEX = re.compile(r'CREATE (?:UNIQUE )?INDEX \w+ ON "?\w+"? \((?:"?\w+"?(?:, )?)+\)')
"""An index of columns, as the library writes one."""

_COMPUTES = re.compile(r"\b(?:CHECK|GENERATED)\b|\bAS\s*\(", re.IGNORECASE)
"""In the words of a table that works something out when it is read or written."""

_ROWS = 1000
"""Rows that are on their way at once."""


@dataclass(frozen=True)
class KeptRun:
    """The files of a logged run.

    Attributes:
        engine_id: whose folder it lies in.
        run_id: names its file.
        sha256: names the log that was kept.
        taken_in: when, UTC, as text: a run that is taken in anew has other samples.
    """

    engine_id: str
    run_id: str
    sha256: str
    taken_in: str


@dataclass(frozen=True)
class Kept:
    """The files that a register refers to, withdrawn records included.

    Attributes:
        runs: logged runs, in the order of their ids.
        photos: file names, in their order.
    """

    runs: tuple[KeptRun, ...]
    photos: tuple[str, ...]


def copy_register(register: Register, path: Path) -> None:
    """Copy a register that others may be writing to, as it stands at one moment.

    Args:
        register: SQLite or PostgreSQL.
        path: a new file; it becomes a SQLite register that anyone can open.

    Raises:
        LogbookError: a database cannot be read or written.
    """
    with register.reading() as session:
        connection = session.connection()
        if connection.dialect.name == "sqlite":
            copy_pages(cast("sqlite3.Connection", connection.connection.driver_connection), path)
        else:
            copy_rows(session, path)


def copy_rows(session: Session, path: Path) -> None:
    """Copy every row that a session sees into a new SQLite register.

    Args:
        session: of a transaction whose reads see one moment.
        path: a new file.

    Raises:
        LogbookError: it cannot be written.
    """
    with Register.open(sqlite_url(path), create=True) as copy, copy.writing() as target:
        for table in Base.metadata.sorted_tables:
            # Records that name others of their own table name earlier ones.
            rows = session.execute(select(table).order_by(*table.primary_key))
            for some in rows.mappings().partitions(_ROWS):
                target.execute(insert(table), [dict(row) for row in some])


def kept_files(session: Session) -> Kept:
    """Return the files that a register refers to."""
    logged = (
        select(RunRow.engine_id, RunRow.run_id, RunRow.source_sha256, RunRow.ingested_at)
        .where(RunRow.unlogged.is_(False))
        .order_by(RunRow.run_id)
    )
    return Kept(
        tuple(
            KeptRun(row.engine_id, row.run_id, row.source_sha256, row.ingested_at.isoformat())
            for row in session.execute(logged)
        ),
        tuple(sorted(kept_photos(session))),
    )


def refuse_newer(revision: str, name: str) -> None:
    """Refuse a register of a revision that this program does not know.

    Args:
        revision: of the register.
        name: what holds it, for the sentence.

    Raises:
        LogbookError: the revision is unknown.
    """
    from babbitt.register.migrations.upgrade import known_revisions  # slow to import

    if revision not in known_revisions():
        raise LogbookError(
            f"{name} was made by a newer program (revision {revision} of the register, this one "
            f"knows {HEAD}): update this program."
        )


def refuse_programs(path: Path, name: str) -> None:
    """Refuse a SQLite register that is more than plain tables of values.

    Views, triggers, virtual tables, checks, generated columns and indexes of expressions run what
    their maker wrote; JSON that is nested too deep stops whoever reads it.

    Args:
        path: of the register, not opened yet.
        name: what holds it, for the sentence.

    Raises:
        LogbookError: there are such, or it is no register.
    """
    try:
        with closing(sqlite3.connect(path)) as file:
            file.execute("PRAGMA trusted_schema = OFF")
            found = file.execute("SELECT type, rootpage, sql FROM sqlite_schema").fetchall()
            if "table" not in {kind for kind, _, _ in found}:
                raise LogbookError(f"{name} holds no register: use another backup.")
            if not all(_is_plain(*row) for row in found) or not _json_is_readable(file):
                raise LogbookError(
                    f"{name} holds more than records, as no backup does: use another one."
                )
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{name} holds no register that can be read ({error}).") from error


def _is_plain(kind: str, first_page: int, sql: str | None) -> bool:
    if kind == "index":
        return sql is None or _PLAIN_INDEX.fullmatch(sql) is not None
    # a virtual table has no page of its own
    return kind == "table" and bool(first_page) and not _COMPUTES.search(sql or "")


def _json_is_readable(file: sqlite3.Connection) -> bool:
    tables = [row[0] for row in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    try:
        for held_in in tables:
            columns = file.execute("SELECT name, type FROM pragma_table_info(?)", (held_in,))
            for name in [name for name, kind in columns if kind == "JSON"]:
                read: Select[Any] = select(column(name)).select_from(table(held_in))
                for (text,) in file.execute(str(read.compile(dialect=sqlite.dialect()))):
                    json.loads("null" if text is None else text)
    except (TypeError, ValueError, RecursionError):
        return False
    return True


@contextmanager
def saying_unusable(name: str) -> Iterator[None]:
    """Turn what odd values in a register bring about into a sentence.

    Args:
        name: what holds the register.

    Raises:
        LogbookError: instead of whatever they brought about.
    """
    try:
        yield
    except (LookupError, TypeError, ValueError, RecursionError, SQLAlchemyError) as error:
        reason = (str(error) or type(error).__name__).splitlines()[0]
        raise LogbookError(
            f"The register in {name} holds what no program of ours writes ({reason}): it was "
            "restored, and cannot be used; use another backup."
        ) from error
