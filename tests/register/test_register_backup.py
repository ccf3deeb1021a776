import pytest
from sqlalchemy import select

from babbitt.errors import LogbookError
from babbitt.register.backup import KeptRun, copy_register, copy_rows, kept_files, refuse_newer
from babbitt.register.journal.undo import undo
from babbitt.register.migrations import HEAD
from babbitt.register.records import corrections, history, parts
from babbitt.register.tables.models import Base
from babbitt.register.tables.store import Register, sqlite_url
from register_records import MAY, add_engine, add_run, an_event, days


def everything(register):
    with register.reading() as session:
        return {
            table.name: sorted(map(tuple, session.execute(select(table))), key=repr)
            for table in Base.metadata.sorted_tables
        }


@pytest.fixture
def filled(register):
    """A register with runs, events, a part, and an act that reverts another."""
    add_engine(register)
    add_run(register, "r1", [an_event("r1")])
    add_run(register, "r2", at=MAY + days(1))
    with register.writing("a person") as session:
        parts.add_part(session, "CR-1", "crankshaft", note="naïve")
        history.add_part_history(session, "CR-1", running_s=60.0, until=MAY)
        corrections.remove_run(session, "r2", "not ours")
        undo(session)
    return register


def test_a_copy_of_a_register_on_either_database_is_a_file_with_the_same_rows(filled, tmp_path):
    copy_register(filled, tmp_path / "copy.sqlite")
    with Register.open(sqlite_url(tmp_path / "copy.sqlite"), create=False) as copy:
        assert everything(copy) == everything(filled)
        assert copy.faults() == ()


def test_rows_copied_one_by_one_are_the_same_too(filled, tmp_path):
    with filled.reading() as session:
        copy_rows(session, tmp_path / "copy.sqlite")
    with Register.open(sqlite_url(tmp_path / "copy.sqlite"), create=False) as copy:
        assert everything(copy) == everything(filled)


def test_a_copy_shows_the_moment_before_what_is_being_written(filled, tmp_path):
    before = everything(filled)
    with filled.writing() as session:
        parts.add_part(session, "CR-2", "crankshaft")
        session.flush()
        copy_register(filled, tmp_path / "copy.sqlite")
    with Register.open(sqlite_url(tmp_path / "copy.sqlite"), create=False) as copy:
        assert everything(copy) == before


def test_files_of_runs_that_were_removed_are_kept(filled):
    with filled.writing() as session:
        corrections.remove_run(session, "r1")
        corrections.add_unlogged(session, "E-1", minutes=5.0, at=MAY + days(3))
    with filled.reading() as session:
        kept = kept_files(session)
    assert [(run.engine_id, run.run_id) for run in kept.runs] == [("E-1", "r1"), ("E-1", "r2")]
    assert isinstance(kept.runs[0], KeptRun)
    assert kept.photos == ()


def test_a_revision_of_a_newer_program_is_refused():
    refuse_newer(HEAD, "book.tar")
    with pytest.raises(LogbookError, match=r"book\.tar was made by a newer program \(revision 9"):
        refuse_newer("9999", "book.tar")
