import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from register_records import add_engine
from sqlalchemy import event

from pipeline.register.store import Register, sqlite_url


@pytest.fixture
def register_url(tmp_path):
    return sqlite_url(tmp_path / "register.sqlite")


@pytest.fixture(scope="session")
def migrated(tmp_path_factory):
    """The file of an empty register, made once: migrating anew for every test takes long."""
    path = tmp_path_factory.mktemp("register") / "migrated.sqlite"
    Register.open(sqlite_url(path), create=True).close()
    return path


@pytest.fixture
def register(register_url, migrated) -> Iterator[Register]:
    """An empty register."""
    shutil.copyfile(migrated, register_url.database)
    with Register.open(register_url, create=False) as opened:
        yield opened


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
