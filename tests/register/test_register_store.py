import re
import sqlite3
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import delete, func, insert, select, text, update
from sqlalchemy.dialects import postgresql
from sqlalchemy.exc import IntegrityError, StatementError
from sqlalchemy.schema import CreateTable

from babbitt.errors import LogbookError
from babbitt.register import migrations
from babbitt.register.migrations.upgrade import upgrade
from babbitt.register.tables import store
from babbitt.register.tables.models import (
    Base,
    EngineRow,
    EventRow,
    ExposureRow,
    ExposureWatchRow,
    RunRow,
)
from babbitt.register.tables.store import Register, sqlite_url
from register_records import MAY, add_engine, add_run, an_event


def test_migrations_make_the_schema_of_the_models(register):
    with register.reading() as session:
        context = MigrationContext.configure(session.connection(), opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == migrations.HEAD


def test_head_is_the_newest_migration():
    scripts = ScriptDirectory(migrations.__path__[0])
    assert scripts.get_heads() == [migrations.HEAD]


@pytest.mark.parametrize("table", Base.metadata.sorted_tables, ids=lambda table: table.name)
def test_every_table_can_be_made_on_postgresql(table):
    sql = str(CreateTable(table).compile(dialect=postgresql.dialect()))
    assert "DATETIME" not in sql
    assert "WITHOUT ROWID" not in sql


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_sqlite_waits_for_other_writers_and_keeps_what_it_says_it_kept(register):
    with register.reading() as session:
        pragmas = {
            name: session.scalar(text(f"PRAGMA {name}"))
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
        }
    full = 2
    assert pragmas == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": full,
        "busy_timeout": 30_000,
    }


def test_a_record_of_an_unknown_engine_is_impossible(register):
    with pytest.raises(IntegrityError), register.writing() as session:
        session.execute(text("INSERT INTO surface VALUES ('nobody', '', '{}', 'k')"))


def test_open_finds_what_was_kept(register_url):
    with Register.open(register_url, create=True) as register:
        add_engine(register)
    with Register.open(register_url, create=False) as register, register.reading() as session:
        assert session.scalars(select(EngineRow.engine_id)).all() == ["E-1"]


def test_any_character_may_be_in_the_path(tmp_path):
    path = tmp_path / "50% & more?#.sqlite"
    Register.open(sqlite_url(path), create=True).close()
    assert path.is_file()


def test_open_without_a_register_makes_none(tmp_path):
    path = tmp_path / "register.sqlite"
    with pytest.raises(LogbookError, match=r"no register at .*register\.sqlite: restore"):
        Register.open(sqlite_url(path), create=False)
    assert list(tmp_path.iterdir()) == []


def test_open_refuses_another_sqlite_file(tmp_path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE cats (name TEXT)")
    with pytest.raises(LogbookError, match="is not a register"):
        Register.open(sqlite_url(path), create=False)


def test_open_refuses_a_file_that_is_no_database(tmp_path):
    path = tmp_path / "register.sqlite"
    path.write_bytes(b"not a database at all" * 100)
    with pytest.raises(LogbookError, match=r"not a database\): restore it from a backup"):
        Register.open(sqlite_url(path), create=False)


def test_open_says_when_the_folder_is_missing(tmp_path):
    with pytest.raises(LogbookError, match=r"unable to open.*see that the folder is there"):
        Register.open(sqlite_url(tmp_path / "gone" / "register.sqlite"), create=True)


@pytest.mark.parametrize("url", ["my register", "mysql://host/name"])
def test_open_refuses_what_is_no_address_of_a_register(url):
    with pytest.raises(LogbookError, match="no URL of a PostgreSQL database: write it like"):
        Register.open(url, create=False)


@pytest.mark.parametrize(
    ("change", "advice"),
    [
        ({"database": "nowhere"}, "does not exist.*make the database first"),
        ({"password": "wrong"}, "password.*see that the user and password"),
        ({"port": 1}, "see that its server runs, and that the address"),
    ],
)
def test_open_says_why_a_server_cannot_be_used(postgres_server, change, advice):
    with pytest.raises(LogbookError, match=advice):
        Register.open(postgres_server.set(**change), create=True)


def test_open_does_not_show_the_password(postgres_server):
    with Register.open(postgres_server, create=False) as register:
        assert postgres_server.password not in register.name


def test_open_says_when_the_driver_of_postgresql_is_missing(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(LogbookError, match=r"needs a library .*psycopg"):
        Register.open("postgresql://user@host/name", create=False)


def test_a_register_goes_on_after_its_connections_were_cut(postgres_server):
    cut = text(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    with Register.open(postgres_server, create=False) as register:
        with Register.open(postgres_server, create=False) as other, other.reading() as session:
            session.execute(cut)
        with register.reading() as session:
            assert session.scalars(select(EngineRow.engine_id)).all() == []


def test_open_leaves_the_register_of_a_newer_program_alone(register_url):
    with Register.open(register_url, create=True) as register, register.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(LogbookError, match=r"newer program \(revision 9999.*update this program"):
        Register.open(register_url, create=True)


def test_a_migration_that_is_cut_off_leaves_nothing_behind(register_url, monkeypatch):
    def be_cut_off(connection):
        upgrade(connection)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("babbitt.register.migrations.upgrade.upgrade", be_cut_off)
        with pytest.raises(KeyboardInterrupt):
            Register.open(register_url, create=True)
    with pytest.raises(LogbookError, match=r"is not a register|no register at"):
        Register.open(register_url, create=False)
    Register.open(register_url, create=True).close()


def test_writing_keeps_all_or_nothing(register):
    def fail_half_way():
        with register.writing() as session:
            session.execute(insert(EngineRow).values(engine_id="E-2", created_at=MAY))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    with register.reading() as session:
        assert session.scalars(select(EngineRow.engine_id)).all() == []


def test_reading_keeps_nothing(register):
    with register.reading() as session:
        session.execute(insert(EngineRow).values(engine_id="E-2", created_at=MAY))
    with register.reading() as session:
        assert session.scalars(select(EngineRow.engine_id)).all() == []


def test_reading_sees_one_moment_whatever_is_written_meanwhile(register):
    with register.reading() as session:
        assert session.scalars(select(EngineRow.engine_id)).all() == []
        add_engine(register)
        assert session.scalars(select(EngineRow.engine_id)).all() == []


def test_writers_queue(register_url):
    """Each counts the engines, then adds one named so: a count that is out of date would clash."""
    rounds, writers = 10, 4
    Register.open(register_url, create=True).close()

    def work():
        with Register.open(register_url, create=False) as register:
            for _ in range(rounds):
                with register.writing() as session:
                    n = session.scalar(select(func.count()).select_from(EngineRow))
                    session.add(EngineRow(engine_id=str(n), created_at=datetime.now(UTC)))

    with ThreadPoolExecutor(writers) as pool:
        for done in [pool.submit(work) for _ in range(writers)]:
            done.result()
    with Register.open(register_url, create=False) as register, register.reading() as session:
        names = session.scalars(select(EngineRow.engine_id)).all()
    assert sorted(names, key=int) == [str(n) for n in range(rounds * writers)]


def test_a_writer_that_waits_too_long_is_told_so(register_url, monkeypatch):
    monkeypatch.setattr(store, "_BUSY_TIMEOUT_S", 0.05)
    with (
        Register.open(register_url, create=True) as one,
        Register.open(register_url, create=False) as other,
        one.writing() as session,
    ):
        session.execute(select(EngineRow))
        with pytest.raises(LogbookError, match="another program has been writing"):
            add_engine(other)


def test_times_come_back_in_utc_and_need_a_zone(register):
    at = datetime.fromisoformat("2026-05-02T12:00:00+02:00")
    add_engine(register, built_at=at)
    with register.reading() as session:
        back = session.scalars(select(EngineRow.built_at)).one()
        assert (back, back.tzinfo) == (at, UTC)
    with pytest.raises(StatementError, match="no time zone"):
        add_engine(register, "E-2", built_at=datetime(2026, 5, 2))  # noqa: DTZ001


def test_json_that_postgresql_refuses_is_refused(with_engine):
    add_run(with_engine)
    with (
        pytest.raises((StatementError, ValueError), match="not JSON compliant"),
        with_engine.writing() as session,
    ):
        session.execute(update(RunRow).values(channels=[float("nan")]))


def test_a_whole_register_has_no_faults(with_engine):
    add_run(with_engine)
    assert with_engine.faults() == ()


def test_faults_names_a_run_without_exposure(with_engine):
    add_run(with_engine)
    with with_engine.writing() as session:
        session.execute(delete(ExposureWatchRow))
        session.execute(delete(ExposureRow))
    assert with_engine.faults() == (
        "Run r1 has no exposure in the register: remove it and ingest its log again.",
    )


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_faults_names_a_table_with_references_to_nothing(with_engine):
    with sqlite3.connect(with_engine.name) as connection:
        connection.execute("INSERT INTO surface VALUES ('nobody', '', '{}', 'k')")
    (fault,) = with_engine.faults()
    assert "table surface names records that are gone" in fault


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("damage", "fault"),
    [
        (lambda data: data.replace(b"r1000", b"r1009", 1), "The register is damaged .*index"),
        (lambda data: data[:-4096] + b"\xff" * 4096, "malformed.*restore it from a backup"),
    ],
    ids=["changed", "overwritten"],
)
def test_faults_names_a_damaged_file(register_url, damage, fault):
    with Register.open(register_url, create=True) as register:
        add_engine(register)
        add_run(register, found=[an_event()])
    path = Path(register_url.database)
    path.write_bytes(damage(path.read_bytes()))
    with Register.open(sqlite_url(path), create=False) as damaged:
        assert re.search(fault, "\n".join(damaged.faults()))


def test_faults_names_an_event_that_lost_its_review(with_engine):
    add_run(with_engine, found=[an_event()])
    with with_engine.writing() as session:
        session.execute(update(EventRow).values(review="harmless"))
    assert "does not carry the review" in "\n".join(with_engine.faults())
