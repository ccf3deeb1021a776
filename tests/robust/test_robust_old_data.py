"""Logbooks of earlier programs are brought up to date, and those of later ones left alone.

Registers of the first revision, which kept its journal otherwise, are in
tests/register/test_register_migrations.py.
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from importlib import import_module
from pathlib import Path
from typing import Any

import crowd
import pytest
import telling
from sqlalchemy import URL, Text, column, create_engine, insert, inspect, select, table
from sqlalchemy.types import TypeEngine

from babbitt.errors import LogbookError, Remedy
from babbitt.logbook.folder import open_logbook
from babbitt.present.remedies import options_text
from babbitt.register.migrations import HEAD
from babbitt.register.migrations.upgrade import known_revisions, upgrade
from babbitt.register.tables.part_models import Base
from babbitt.register.tables.store import sqlite_url
from exchange_books import make_full_book

EARLIER = sorted(known_revisions() - {"0001", HEAD})
TABLES = {each.name: each for each in Base.metadata.sorted_tables}

FATIGUE = re.compile(r"fatigue_s=[^,)]+")

Rows = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop whose logbook has a record of every sort; not to be written to."""
    folder = tmp_path_factory.mktemp("full")
    make_full_book(folder).register.close()
    return folder


def rows_of(url: URL) -> Rows:
    """Return what a register holds, table by table, in the columns that it has."""
    engine = create_engine(url)
    with engine.connect() as connection:
        there = inspect(connection)
        found = {}
        for name in (name for name in TABLES if there.has_table(name)):
            names = [each["name"] for each in there.get_columns(name)]
            known = [column(each, type_of(name, each)) for each in names]
            keys = [column(each.name) for each in TABLES[name].primary_key]
            read = connection.execute(select(*known).select_from(table(name)).order_by(*keys))
            found[name] = [dict(row) for row in read.mappings()]
    engine.dispose()
    return found


def as_text(confidence: str) -> str:
    """A confidence as programs before revision 0006 wrote it, of reasons that they had."""
    codes = import_module("babbitt.register.migrations.versions.0006_confidence").CODES
    told = {code: text for text, code in codes.items()}
    reasons = [told[each["code"]] for each in json.loads(confidence)["reasons"]]
    return f"low: {'; '.join(reasons)}" if reasons else "high"


def type_of(name: str, column_name: str) -> TypeEngine[Any]:
    """The type of a column, of one that is no more too."""
    there = TABLES[name].c
    return there[column_name].type if column_name in there else Text()


def options_of(remedies: list[dict[str, str]]) -> str:
    """Remedies as programs before revision 0011 wrote them: as options of a command."""
    return options_text([Remedy(**each) for each in remedies])


def spelt(name: str, row: dict[str, Any], revision: str) -> dict[str, Any]:
    """A row as programs of an earlier revision wrote it."""
    if name == "event" and revision < "0006":
        return row | {"confidence": as_text(row["confidence"])}
    if name == "refusal" and revision < "0011":
        return row | {"option": options_of(row["remedies"])}
    if name == "run" and revision < "0012":
        doubts = [dict(each) for each in row["doubts"]]
        return row | {
            "doubts": [each | {"options": options_of(each.pop("remedies"))} for each in doubts]
        }
    return row


def make_old(url: URL, revision: str, rows: Rows) -> None:
    """Make a register of an earlier revision that holds of `rows` what it can."""
    engine = create_engine(url)
    with engine.begin() as connection:
        upgrade(connection, revision)
        there = inspect(connection)
        for name in (name for name in rows if there.has_table(name) and rows[name]):
            names = {each["name"] for each in there.get_columns(name)}
            into = table(name, *(column(each, type_of(name, each)) for each in names))
            some = [spelt(name, row, revision) for row in rows[name]]
            connection.execute(insert(into), [{key: row[key] for key in names} for row in some])
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def old_shop(request: pytest.FixtureRequest, full: Path, tmp_path: Path) -> Iterator[Any]:
    """Return what makes a copy of the full shop whose register is of an earlier revision."""
    with crowd.databases(request.param) as address:

        def make(revision: str) -> tuple[Path, URL]:
            folder = shutil.copytree(full, tmp_path / "old")
            register = folder / "book" / "register.sqlite"
            rows = rows_of(sqlite_url(register))
            for each in register.parent.glob("register.sqlite*"):
                each.unlink()
            url = address()
            if url is not None:
                settings = folder / "book" / "logbook.toml"
                named = f'register = "{url.render_as_string(hide_password=False)}"\n'
                settings.write_text(named + settings.read_text("utf-8"), "utf-8")
            url = url or sqlite_url(register)
            make_old(url, revision, rows)
            return folder, url

        yield make


@pytest.mark.parametrize("revision", EARLIER)
def test_a_logbook_of_an_earlier_program_tells_what_it_told(
    revision: str, old_shop: Any, full: Path
) -> None:
    folder, url = old_shop(revision)
    before = rows_of(url)
    assert sum(map(len, before.values())) > 50
    told, after = telling.tell(folder), telling.tell(full)
    kept = folder / "book" / f"register-{revision}.sqlite"
    if url.get_backend_name() == "sqlite":
        assert rows_of(sqlite_url(kept)) == before
    files = {name for name in after.pop("files") if name != "book/register.sqlite"}
    assert files <= set(told.pop("files"))
    if revision < "0007":  # what turns took of rods and springs is summed by the next search
        after["totals"] = [FATIGUE.sub("fatigue_s=0.0", text) for text in after["totals"]]
        told["totals"] = [FATIGUE.sub("fatigue_s=0.0", text) for text in told["totals"]]
    assert told == after
    assert telling.faults_of(folder) == []
    now = rows_of(url)
    for name, rows in before.items():
        then = [spelt(name, row, revision) for row in now[name]]
        assert [{key: row[key] for key in rows[0]} for row in then] == rows if rows else True


@pytest.mark.parametrize("old_shop", ["sqlite"], indirect=True)
def test_programs_that_open_an_old_logbook_at_once_keep_it_as_it_was(old_shop: Any) -> None:
    folder, url = old_shop(EARLIER[0])
    before = rows_of(url)
    with ThreadPoolExecutor(4) as pool:
        for book in pool.map(open_logbook, 4 * [folder / "book"]):
            book.register.close()
    assert rows_of(sqlite_url(folder / "book" / f"register-{EARLIER[0]}.sqlite")) == before
    assert telling.faults_of(folder) == []


def test_a_logbook_of_a_later_program_is_refused_unharmed(full: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(full, tmp_path / "later")
    register = folder / "book" / "register.sqlite"
    with closing(sqlite3.connect(register)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    with pytest.raises(LogbookError, match=r"newer program \(revision 9999.*update this program"):
        open_logbook(folder / "book")
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == files
