"""Opening the register's database, and its transactions."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import (
    URL,
    Connection,
    Engine,
    column,
    create_engine,
    event,
    func,
    inspect,
    make_url,
    select,
    table,
)
from sqlalchemy.exc import ArgumentError, DatabaseError, DataError, OperationalError
from sqlalchemy.orm import Session

from babbitt.errors import LogbookError, RegisterError
from babbitt.register.migrations import HEAD
from babbitt.register.queries import check

PROGRAM = "babbitt"
"""Who changed something, where no person is named."""

_BUSY_TIMEOUT_S = 30.0
_WRITE_LOCK = 0x0BABB177
"""Number of the advisory lock that writers on PostgreSQL take; any that no other program takes."""

_NO_ADDRESS = (
    "The register's address is no URL of a PostgreSQL database: write it like "
    "postgresql://user@host/name, or leave it out for a file in the logbook."
)
_WHAT_TO_DO = {
    "locked": "another program has been writing to it for long, try again",
    "lock timeout": "another program has been writing to it for long, try again",
    "full": "make room on the disk and try again",
    "disk i/o": "the disk failed, or the way to it; see to that and try again",
    "readonly": "allow writing to the file and its folder",
    "unable to open": "see that the folder is there and may be written",
    "malformed": "restore it from a backup",
    "not a database": "restore it from a backup",
    "connection refused": "see that its server runs, and that the address in logbook.toml is right",
    "resolve host": "see that the address in logbook.toml is right",
    "authentication": "see that the user and password in logbook.toml are right",
    "password": "see that the user and password in logbook.toml are right",
    "does not exist": "make the database first, with `createdb`",
    "connection": "see that its server runs, and try again",
}
"""A word of the database's message, and what a person should do then."""
_NO_TEXT = "That is no text that a register can hold: type it anew."
_FROM_OUTSIDE = (
    OperationalError,
    DatabaseError,
    sqlite3.OperationalError,
    sqlite3.DatabaseError,
)
"""What a database that cannot be used brings about, and nothing more special than that."""


def sqlite_url(path: Path) -> URL:
    """Return the URL of the register in a file; any character may be in the path."""
    return URL.create("sqlite", database=str(path))


@dataclass(frozen=True)
class Register:
    """An open register; every read and write goes through one of its transactions.

    Attributes:
        name: the URL to show, without a password.
    """

    name: str
    _reader: Engine
    _writer: Engine

    @classmethod
    def open(cls, url: URL | str, *, create: bool) -> Self:
        """Open a register, and bring an older one up to date.

        Args:
            url: of a SQLite file or a PostgreSQL database.
            create: make it where there is none; otherwise that is an error.

        Raises:
            LogbookError: there is none, it is newer than this program, or cannot be used.
        """
        parsed = _parse(url)
        name = parsed.render_as_string(hide_password=True)
        if parsed.get_backend_name() == "sqlite":
            name = str(parsed.database)
            if not create and not Path(name).is_file():
                raise LogbookError(f"There is no register at {name}: restore it from a backup.")
        register = cls(name, *_engines(parsed))
        try:
            with _saying_what_failed(name):
                _bring_up_to_date(register, create=create)
        except BaseException:
            register.close()
            raise
        return register

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Yield a session in which all reads see one moment; nothing written in it is kept.

        Raises:
            LogbookError: the database cannot be read.
        """
        with _saying_what_failed(self.name), Session(self._reader) as session:
            yield session

    @contextmanager
    def writing(self, who: str = PROGRAM) -> Iterator[Session]:
        """Yield a session whose changes are kept together when the block ends, or not at all.

        One writer works at a time and others wait for it, so that what it reads stays true.

        Args:
            who: the name that the journal shows.

        Raises:
            LogbookError: the database cannot be written, or another writer holds it for long.
        """
        with (
            _saying_what_failed(self.name),
            Session(self._writer, info={"who": who}) as session,
            session.begin(),
        ):
            yield session

    def faults(self) -> tuple[str, ...]:
        """Return what is wrong with the register, a sentence each; nothing where it is whole."""
        try:
            with self.reading() as session:
                return check.faults(session)
        except LogbookError as error:
            return (str(error),)

    def close(self) -> None:
        """Let go of the database."""
        self._reader.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()


def _parse(url: URL | str) -> URL:
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError) as error:
        raise LogbookError(_NO_ADDRESS) from error
    if parsed.get_backend_name() not in ("sqlite", "postgresql"):
        raise LogbookError(_NO_ADDRESS)
    return parsed


def _engines(url: URL) -> tuple[Engine, Engine]:
    """Return the engines that reading and writing transactions begin on; they share connections."""
    serves = url.get_backend_name() == "postgresql"
    try:
        # A connection to a server may have been cut since it was last used.
        engine = create_engine(url, json_serializer=_to_json, pool_pre_ping=serves)
    except ModuleNotFoundError as error:
        raise LogbookError(
            "A register on PostgreSQL needs a library that is not installed: pip install "
            "'psycopg[binary]'."
        ) from error
    reader, writer = engine, engine.execution_options(writes=True)
    if serves:
        event.listen(engine, "begin", _begin_postgresql)
        reader = engine.execution_options(isolation_level="REPEATABLE READ")
    else:
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return reader, writer


def _to_json(value: Any) -> str:
    """Write JSON that PostgreSQL takes too: without NaN and infinity."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _set_up_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # leaves it to _begin_sqlite to begin transactions
    for pragma in (
        f"busy_timeout = {_BUSY_TIMEOUT_S * 1000:.0f}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    """Begin a transaction; one that writes takes the write lock at once.

    One that took it at its first write could find that another writer had been faster since its
    first read, and would have to be repeated.
    """
    connection.exec_driver_sql("BEGIN IMMEDIATE" if _writes(connection) else "BEGIN")


def _begin_postgresql(connection: Connection) -> None:
    """Make a transaction that writes wait for the one before it, as on SQLite."""
    if _writes(connection):
        patience = f"{_BUSY_TIMEOUT_S * 1000:.0f}"  # milliseconds
        connection.execute(select(func.set_config("lock_timeout", patience, True)))
        connection.execute(select(func.pg_advisory_xact_lock(_WRITE_LOCK)))


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get("writes", False))


def _bring_up_to_date(register: Register, *, create: bool) -> None:
    with register._reader.connect() as connection:
        revision = _revision(connection)
    if revision == HEAD:
        return
    if revision is None and not create:
        raise LogbookError(f"{register.name} is not a register: restore it from a backup.")
    # Alembic is slow to import, and seldom needed.
    from babbitt.register.migrations.upgrade import known_revisions, upgrade

    if revision is not None and revision not in known_revisions():
        raise LogbookError(
            f"The register {register.name} was written by a newer program (revision {revision}, "
            f"this one knows {HEAD}): update this program."
        )
    with register._writer.begin() as connection:
        revision = _revision(connection)  # another program may have been faster
        if revision not in (None, HEAD):
            _keep_as_it_was(register._reader.url, revision)
        upgrade(connection)


def _keep_as_it_was(url: URL, revision: str) -> None:
    """Copy a register file before it is brought up to date; a server has backups of its own."""
    if url.get_backend_name() != "sqlite":
        return
    path = Path(str(url.database))
    kept = path.with_name(f"{path.stem}-{revision}{path.suffix}")
    if kept.exists():
        return
    part = kept.with_name(f".{kept.name}.part")
    part.unlink(missing_ok=True)  # of a program that was cut off
    try:
        with closing(sqlite3.connect(path)) as live:
            copy_pages(live, part)
        part.replace(kept)
    finally:
        part.unlink(missing_ok=True)


def copy_pages(live: sqlite3.Connection, path: Path) -> None:
    """Copy a register file that others may be writing to.

    All pages are copied in one step, so that no writer comes between.

    Args:
        live: a connection to it.
        path: of the copy.

    Raises:
        LogbookError: it cannot be written.
    """
    with _saying_what_failed(str(path)), closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode = OFF")  # a copy that fails is thrown away
        live.backup(copy)


def _revision(connection: Connection) -> str | None:
    """Return the migration that the database is at; None for a database that is no register."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    versions = table("alembic_version", column("version_num"))
    revision: str | None = connection.scalar(select(versions.c.version_num))
    return revision


@contextmanager
def _saying_what_failed(name: str) -> Iterator[None]:
    try:
        yield
    except UnicodeEncodeError as error:
        raise RegisterError(_NO_TEXT) from error
    except (OperationalError, DatabaseError, sqlite3.Error) as error:
        if isinstance(error, DataError) and "NUL (0x00)" in str(error.orig):
            raise RegisterError(_NO_TEXT) from error
        if type(error) not in _FROM_OUTSIDE:
            raise  # a broken constraint and the like is a fault of this program
        message = " ".join(str(getattr(error, "orig", error)).split())
        folded = message.casefold()
        advice = next((say for word, say in _WHAT_TO_DO.items() if word in folded), None)
        hint = f": {advice}" if advice else ""
        raise LogbookError(f"The register {name} cannot be used ({message}){hint}.") from error
