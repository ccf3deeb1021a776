from dataclasses import replace

import pytest

from babbitt.errors import RegisterError
from babbitt.register.journal.entries import journal
from babbitt.register.records import corrections, events, exposures, runs
from register_records import BUILT, MAY, add_engine, add_run, an_event, days, minutes


@pytest.fixture
def two_engines(with_engine):
    add_engine(with_engine, "E-2", built_at=MAY - days(30))
    return with_engine


def correct(register, what, *args, **kwargs):
    with register.writing("Ann") as session:
        return what(session, *args, **kwargs)


def entries(register, **only):
    with register.reading() as session:
        return journal(session, **only)


def test_an_assigned_run_is_the_other_engines_and_waits_for_judging(two_engines):
    add_run(two_engines, found=[an_event()])
    record = correct(two_engines, corrections.assign_run, "r1", "E-2", "engines were swapped")
    assert (record.engine_id, record.judged_by) == ("E-2", None)
    with two_engines.reading() as session:
        assert runs.find_run(session, "r1") == record
        (found,) = events.list_events(session, engine_id="E-2")
        assert found.event.engine_id == "E-2"
        assert events.list_events(session, engine_id="E-1") == ()


def test_both_engines_journals_show_an_assigned_run(two_engines):
    add_run(two_engines)
    correct(two_engines, corrections.assign_run, "r1", "E-2", "engines were swapped")
    for engine_id in ("E-1", "E-2"):
        entry = entries(two_engines, engine_id=engine_id)[0]
        (change,) = entry.changes
        assert (change.record, change.record_id) == ("run", "r1")
        assert (change.before, change.after) == ({"engine_id": "E-1"}, {"engine_id": "E-2"})
        assert (entry.action, entry.engine_ids) == ("run assign", ("E-1", "E-2"))
        assert (entry.who, entry.reason) == ("Ann", "engines were swapped")


@pytest.mark.parametrize(
    ("run_id", "engine_id", "message"),
    [
        ("r1", "E-1", "The run r1 is of engine E-1 already"),
        ("r1", "E-3", "no engine 'E-3'"),
        ("x", "E-2", "no run 'x'"),
        ("old", "E-2", "The run old is dated .* before the engine E-2 was built"),
    ],
)
def test_an_assignment_that_cannot_be_is_refused(two_engines, run_id, engine_id, message):
    add_run(two_engines, "r1")
    add_run(two_engines, "old", at=BUILT + days(1))
    before = entries(two_engines)
    with pytest.raises(RegisterError, match=message):
        correct(two_engines, corrections.assign_run, run_id, engine_id)
    assert entries(two_engines) == before


def test_a_run_is_not_assigned_over_another_unless_both_are_right(two_engines):
    add_run(two_engines, "r1")
    add_run(two_engines, "there", engine_id="E-2", at=MAY + minutes(5))
    with pytest.raises(
        RegisterError, match=r"r1 overlaps there of engine E-2.*remove the wrong one"
    ):
        correct(two_engines, corrections.assign_run, "r1", "E-2")
    correct(two_engines, corrections.assign_run, "r1", "E-2", keep_both=True)


def test_a_run_of_uncertain_date_may_be_assigned_over_another(two_engines):
    add_run(two_engines, "r1", basis="file")
    add_run(two_engines, "there", engine_id="E-2")
    assert correct(two_engines, corrections.assign_run, "r1", "E-2").engine_id == "E-2"


def test_unlogged_running_is_a_run_of_which_only_the_time_is_known(with_engine):
    record = correct(
        with_engine, corrections.add_unlogged, "E-1", minutes=40, at=MAY, reason="logger was off"
    )
    assert (record.unlogged, record.duration_s, record.started_at) == (True, 2400.0, MAY)
    assert (record.samples, record.source_sha256, record.channels) == (0, None, ())
    with with_engine.reading() as session:
        assert runs.find_run(session, record.run_id) == record
        assert exposures.exposure_of(session, record.run_id) is None
    entry = entries(with_engine)[0]
    assert (entry.action, entry.reason) == ("run add-unlogged", "logger was off")
    assert entry.changes[0].after["started_at"] == "2026-05-02T10:00:00+00:00"
    assert entry.changes[0].after["duration_s"] == 2400.0


@pytest.mark.parametrize(
    ("how_long", "at", "message"),
    [
        (0, MAY + days(1), "0 minutes of unlogged running cannot be one entry: give more than 0"),
        (-5, MAY + days(1), "-5 minutes"),
        (float("nan"), MAY + days(1), "nan minutes"),
        (float("inf"), MAY + days(1), "inf minutes"),
        (1441, MAY + days(1), "1441 minutes .* at most 1440"),
        (5, BUILT - days(1), "before the engine E-1 was built"),
        (5, MAY, "has unlogged running at 2026-05-02 10:00:00 UTC already .* remove that first"),
    ],
)
def test_unlogged_running_that_cannot_be_is_refused(with_engine, how_long, at, message):
    correct(with_engine, corrections.add_unlogged, "E-1", minutes=40, at=MAY)
    with pytest.raises(RegisterError, match=message):
        correct(with_engine, corrections.add_unlogged, "E-1", minutes=how_long, at=at)


def test_unlogged_running_may_be_entered_again_once_removed(with_engine):
    first = correct(with_engine, corrections.add_unlogged, "E-1", minutes=40, at=MAY)
    correct(with_engine, corrections.remove_run, first.run_id)
    second = correct(with_engine, corrections.add_unlogged, "E-1", minutes=30, at=MAY)
    assert second.run_id != first.run_id


def test_a_removed_run_is_kept_and_can_be_restored(with_engine):
    add_run(with_engine, found=[an_event()])
    with with_engine.reading() as session:
        before = runs.find_run(session, "r1")
    removed = correct(with_engine, corrections.remove_run, "r1", "warm-up on the bench")
    assert removed.removed_at is not None
    with with_engine.reading() as session:
        assert events.list_events(session) == ()
        assert len(events.list_events(session, run_id="r1")) == 1
    restored = correct(with_engine, corrections.restore_run, "r1", "was a run after all")
    assert replace(restored, version=before.version) == before
    restored, removed_entry = entries(with_engine)[:2]
    assert (removed_entry.action, removed_entry.reason) == ("run remove", "warm-up on the bench")
    assert (restored.action, restored.reason) == ("run restore", "was a run after all")
    assert restored.changes[0].before == removed_entry.changes[0].after
    assert restored.changes[0].after == removed_entry.changes[0].before == {"removed_at": None}


def test_what_is_done_already_is_refused(with_engine):
    add_run(with_engine)
    with pytest.raises(RegisterError, match="The run r1 is not removed"):
        correct(with_engine, corrections.restore_run, "r1")
    correct(with_engine, corrections.remove_run, "r1")
    with pytest.raises(RegisterError, match=r"The run r1 was removed already \(20"):
        correct(with_engine, corrections.remove_run, "r1")


def test_a_run_is_not_restored_beside_the_one_that_took_its_place(with_engine):
    add_run(with_engine, "wrong")
    correct(with_engine, corrections.remove_run, "wrong")
    add_run(with_engine, "right", at=MAY + minutes(1))
    with pytest.raises(RegisterError, match="wrong overlaps right"):
        correct(with_engine, corrections.restore_run, "wrong")
    assert correct(with_engine, corrections.restore_run, "wrong", keep_both=True).removed_at is None


def test_the_journal_is_newest_first_and_may_be_cut(two_engines):
    add_run(two_engines)
    correct(two_engines, corrections.remove_run, "r1")
    assert [e.action for e in entries(two_engines)] == ["run remove", "engine add", "engine add"]
    assert [e.action for e in entries(two_engines, engine_id="E-2")] == ["engine add"]
    assert [e.action for e in entries(two_engines, limit=1)] == ["run remove"]
    assert entries(two_engines, engine_id="E-9") == ()
