import itertools
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import URL, create_engine, delete, event

import postgres
from babbitt.register.tables import part_models
from babbitt.register.tables.store import Register, sqlite_url
from register_records import add_engine

_TABLES = tuple(reversed(part_models.Base.metadata.sorted_tables))
_names = (f"test{n}" for n in itertools.count())


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[URL]:
    """The address of a server's database that holds an empty register."""
    with postgres.server() as url:
        Register.open(url, create=True).close()
        yield url


@pytest.fixture(scope="session")
def postgresql_register(postgres_server) -> Iterator[Register]:
    with Register.open(postgres_server, create=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def sqlite_register(tmp_path_factory) -> Iterator[Register]:
    path = tmp_path_factory.mktemp("register") / "register.sqlite"
    with Register.open(sqlite_url(path), create=True) as opened:
        yield opened


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request) -> str:
    """Which database a test runs on: each in turn."""
    return request.param


@pytest.fixture
def register_url(database, tmp_path, request) -> Iterator[URL]:
    """The address of a database in which there is no register yet."""
    if database == "sqlite":
        yield sqlite_url(tmp_path / "register.sqlite")
    else:
        server, name = request.getfixturevalue("postgres_server"), next(_names)
        _run(server, f"CREATE DATABASE {name}")
        yield server.set(database=name)
        _run(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def register(database, request) -> Iterator[Register]:
    """An empty register; it is opened once and emptied after each test, as opening takes long."""
    opened = request.getfixturevalue(f"{database}_register")
    yield opened
    with opened.writing() as session:
        for table in _TABLES:
            session.execute(delete(table))


@pytest.fixture
def with_engine(register) -> Register:
    """A register that knows the engine E-1."""
    add_engine(register)
    return register


@pytest.fixture
def count_queries(register):
    """Return a context manager that yields the (statement, parameters) sent while it is open."""

    @contextmanager
    def counting():
        sent = []

        def note(_connection, _cursor, statement, parameters, *_):
            if not statement.startswith("BEGIN"):
                sent.append((statement, parameters))

        event.listen(register._reader, "before_cursor_execute", note)
        try:
            yield sent
        finally:
            event.remove(register._reader, "before_cursor_execute", note)

    return counting


def _run(server: URL, statement: str) -> None:
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(statement)
    engine.dispose()
