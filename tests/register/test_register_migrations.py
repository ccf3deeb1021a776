"""Registers of earlier revisions, with data in them, are brought up to date."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import redo, undo
from babbitt.register.migrations.upgrade import upgrade
from babbitt.register.records import builds, engines, events, runs
from babbitt.register.tables.store import Register
from register_records import BUILT, MAY, OTHER_SPEC, SPEC, days, read, write

REFRESHED = MAY + days(20)


def as_stored(at, database):
    """Return an instant as the database of the first revision holds it."""
    if at is None or database == "postgresql":
        return at
    return at.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S.%f")


class FirstRegister:
    """A register as the program of the first revision wrote it."""

    def __init__(self, connection, database):
        self._connection = connection
        self._database = database

    def insert(self, table, **values):
        columns = {
            name: as_stored(value, self._database)
            if isinstance(value, datetime)
            else json.dumps(value)
            if isinstance(value, (dict, list))
            else value
            for name, value in values.items()
        }
        names, places = ", ".join(columns), ", ".join(f":{name}" for name in columns)
        self._connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({places})"), columns)

    def journal(self, action, engine_id, reason="", **what):
        what = {"before": None, "after": None} | what
        at = MAY + days(30)
        self.insert(
            "journal",
            at=at,
            who="Ann",
            engine_id=engine_id,
            action=action,
            what=what,
            reason=reason,
        )

    def add_run(self, run_id, *, engine_id="E-1", removed_at=None, unlogged=False, minutes=10.0):
        self.insert(
            "run",
            run_id=run_id,
            engine_id=engine_id,
            started_at=MAY,
            ended_at=MAY + days(minutes / 1440),
            start_basis="stated" if unlogged else "file",
            duration_s=60.0 * minutes,
            samples=0 if unlogged else 2,
            source_name="" if unlogged else f"{run_id}.csv",
            source_sha256=None,
            dialect=[],
            conversions=[],
            warnings=[],
            channels=[],
            ingested_at=MAY,
            removed_at=removed_at,
            unlogged=unlogged,
            judged_by="first",
        )
        self.insert("exposure", run_id=run_id, running_s=60.0 * minutes)


@pytest.fixture
def first(register_url, database):
    """Make a register of the first revision in which a person has done one of each, and open it."""
    engine = create_engine(register_url)
    with engine.begin() as connection:
        upgrade(connection, "0001")
        old = FirstRegister(connection, database)
        for engine_id in ("E-1", "E-2"):
            old.insert("engine", engine_id=engine_id, created_at=BUILT, built_at=BUILT)
            old.insert("engine_spec", engine_id=engine_id, toml=SPEC, since=BUILT)
            built = {"built_at": BUILT.isoformat(), "spec": SPEC}
            old.journal("engine add", engine_id, after=built)
        old.insert("engine_spec", engine_id="E-1", toml=OTHER_SPEC, since=MAY)
        old.journal("engine spec", "E-1", before={"spec": SPEC}, after={"spec": OTHER_SPEC})
        old.insert("refresh", engine_id="E-1", at=REFRESHED, note="new bearings")
        old.journal("engine refresh", "E-1", "new bearings", after={"at": REFRESHED.isoformat()})
        old.add_run("moved", engine_id="E-2")
        swap = {"run": "moved", "before": {"engine_id": "E-1"}, "after": {"engine_id": "E-2"}}
        old.journal("run assigned away", "E-1", "swapped", **swap)
        old.journal("run assign", "E-2", "swapped", **swap)
        gone = (MAY + days(2)).isoformat()
        old.add_run("gone", removed_at=MAY + days(2))
        old.journal(
            "run remove",
            "E-1",
            run="gone",
            before={"removed_at": None},
            after={"removed_at": gone},
        )
        old.add_run("again")
        old.journal(
            "run replace", "E-1", "taken in again", run="again", before={"removed_at": gone}
        )
        old.add_run("u1", unlogged=True, minutes=40)
        old.journal(
            "run add-unlogged", "E-1", run="u1", after={"at": MAY.isoformat(), "minutes": 40}
        )
        event = {
            "run_id": "moved",
            "event_id": "e1",
            "kind": "over_rev",
            "start_s": 1.0,
            "end_s": 2.0,
        }
        old.insert(
            "event",
            **event,
            duration_s=1.0,
            peak=7800.0,
            peak_s=1.5,
            peak_unit="1/min",
            dose=10.0,
            dose_unit="weighted rev",
            ended_by="release",
            confidence="high",
            review="harmless",
            spec_version="first",
        )
        old.insert("review", **event, verdict="harmless", note="seen", at=MAY, who="Ann")
        old.journal(
            "review",
            "E-2",
            "seen",
            run="moved",
            event="e1",
            before={"review": None},
            after={"review": "harmless"},
        )
    engine.dispose()
    with Register.open(register_url, create=False) as opened:
        yield opened


def test_every_record_of_the_first_revision_is_still_there(first):
    assert first.faults() == ()
    engine, other = read(first, engines.list_engines)
    assert (engine.engine_id, engine.built_at, engine.refreshes, engine.runs) == (
        "E-1",
        BUILT,
        1,
        2,
    )
    assert (other.engine_id, other.runs, engine.version) == ("E-2", 1, 1)
    assert engine.spec.over_rev.redline_rpm == 7400
    assert [b.note for b in read(first, builds.builds_of, "E-1")] == ["", "new bearings"]
    gone = read(first, runs.find_run, "gone")
    assert (gone.removed_at, gone.circuit) == (MAY + days(2), None)
    (event,) = read(first, events.list_events)
    assert event.event.review == "harmless"


def test_the_journal_of_the_first_revision_reads_on(first):
    told = [(entry.engine_ids, sentence(entry)) for entry in reversed(read(first, journal))]
    assert told == [
        (("E-1",), "added engine E-1, set the limits of E-1"),
        (("E-2",), "added engine E-2, set the limits of E-2"),
        (("E-1",), "set the limits of E-1"),
        (("E-1",), "added the refresh of E-1 on 2026-05-22 10:00:00 UTC"),
        (("E-1", "E-2"), "gave the run moved of E-1 to E-2"),
        (("E-1",), "withdrew the run gone of E-1"),
        (("E-1",), "took the run again of E-1 in anew"),
        (("E-1",), "added the unlogged running u1 of E-1"),
        (("E-2",), "reviewed event e1 as harmless"),
    ]


def test_what_was_done_under_the_first_revision_can_be_undone(first):
    undone = []
    for _ in range(6):
        undone.append(sentence(write(first, undo)).partition(": ")[2])
    assert undone == [
        "withdrew the review of event e1",
        "withdrew the unlogged running u1 of E-1",
        "brought back the run gone of E-1",
        "gave the run moved of E-2 to E-1",
        "withdrew the refresh of E-1 on 2026-05-22 10:00:00 UTC",
        "withdrew the limits of E-1",
    ]
    before, _ = read(first, engines.list_engines)
    assert (before.refreshes, before.spec.over_rev.redline_rpm) == (0, 7600)
    for _ in range(6):
        write(first, redo)
    after, _ = read(first, engines.list_engines)
    assert (after.refreshes, after.spec.over_rev.redline_rpm) == (1, 7400)


def test_new_records_get_numbers_that_are_free(first):
    added = write(first, builds.add_refresh, "E-1", REFRESHED + days(9), "second")
    assert [each.note for each in read(first, builds.refreshes_of, "E-1")] == [
        "new bearings",
        "second",
    ]
    assert replace(added, note="") != added


def test_a_register_file_is_kept_as_it_was_before(first, register_url, database, tmp_path):
    if database != "sqlite":
        pytest.skip("a server has backups of its own")
    now = Path(first.name)
    before = now.with_name(f"{now.stem}-0001{now.suffix}")
    with closing(sqlite3.connect(before)) as kept:
        (revision,) = kept.execute("SELECT version_num FROM alembic_version").fetchone()
        assert revision == "0001"
        assert kept.execute("SELECT count(*) FROM engine").fetchone() == (2,)
    with Register.open(register_url, create=False):
        pass
    assert sorted(path.name for path in now.parent.glob("*-0*")) == [before.name]
