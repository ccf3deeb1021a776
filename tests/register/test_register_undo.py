"""Undoing what people did, and undoing that."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement, SheetLine
from babbitt.model.records import Window
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import next_redo, next_undo, redo, undo
from babbitt.register.queries.places import where_now
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import (
    builds,
    corrections,
    engines,
    events,
    fitments,
    history,
    parts,
    runs,
    sheets,
    teardowns,
    work,
)
from register_records import (
    BUILT,
    MAY,
    OTHER_SPEC,
    SPEC,
    VERSION,
    a_finding,
    a_run,
    add_engine,
    add_run,
    an_event,
    an_exposure,
    days,
    minutes,
    read,
    write,
)


def state(session):
    """Return all that the register says, but for what counts changes or waits for judging."""
    everything = (
        engines.list_engines(session),
        [builds.builds_of(session, e.engine_id) for e in engines.list_engines(session)],
        runs.list_runs(session),
        events.list_events(session),
        where_now(session),
        fitments.list_fitments(session),
        work.list_work(session),
        history.list_history(session),
        sheets.lines_of(session),
        sheets.measurements_of(session),
        teardowns.teardowns_of(session),
        teardowns.findings_of(session),
    )
    return _plain(everything)


def _plain(value):
    if hasattr(value, "__dataclass_fields__"):
        return {
            name: _plain(getattr(value, name))
            for name in value.__dataclass_fields__
            if name not in ("version", "judged_by")
        }
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    return value


def everything_once(register):
    """Yield (what was done, a function that does it) for one act of every sort, in order."""
    clearance = BuiltMeasurement(Measurement("clearance", 0.05, "mm"), "rod_bearing", "1")
    tighter = BuiltMeasurement(Measurement("clearance", 0.04, "mm"), "rod_bearing", "1")
    bearing = SheetLine("rod_bearing", "1", "replaced", "RB-1")
    later = MAY + days(3)

    def newest(table):
        return read(register, table)[-1]

    def refresh_id():
        return read(register, builds.find_refresh, "E-1").refresh_id

    yield engines.set_spec, ("E-1", OTHER_SPEC), {}
    yield engines.set_built, ("E-1", BUILT - days(1)), {}
    yield corrections.assign_run, ("r1", "E-2"), {}
    yield corrections.remove_run, ("r2",), {}
    yield corrections.restore_run, ("r2",), {}
    yield corrections.add_unlogged, ("E-1",), {"minutes": 40, "at": MAY + days(2)}
    (unlogged,) = (run for run in read(register, runs.list_runs) if run.unlogged)
    yield corrections.amend_run, (unlogged.run_id,), {"minutes": 50, "at": MAY + days(1)}
    yield events.add_review, (an_event("r2").event_id, "harmless"), {}
    yield parts.add_part, ("RB-1", "rod_bearing"), {}
    yield parts.add_part, ("RB-2", "rod_bearing"), {}
    yield parts.amend_part, ("RB-2",), {"note": "second hand"}
    yield history.add_part_history, ("RB-2",), {"running_s": 3600.0, "until": BUILT}
    entry = newest(history.list_history)
    yield history.amend_history, (entry.history_id,), {"running_s": 7200.0}
    yield fitments.fit_part, ("RB-2", "E-1"), {"at": BUILT, "position": "1"}
    yield builds.add_refresh, ("E-1", later), {"lines": [bearing], "measurements": [clearance]}
    yield builds.amend_refresh, (refresh_id(),), {"at": later + days(1)}
    line = newest(sheets.lines_of)
    yield sheets.amend_line, (line.line_id, SheetLine("rod_bearing", "1", "replaced")), {}
    yield sheets.withdraw_line, (line.line_id,), {}
    measured = newest(sheets.measurements_of)
    yield sheets.amend_measurement, (measured.measurement_id, tighter), {}
    yield sheets.withdraw_measurement, (measured.measurement_id,), {}
    fitted = newest(fitments.list_fitments)
    yield fitments.amend_fitment, (fitted.fitment_id,), {"position": "2"}
    yield fitments.remove_part, ("RB-1",), {"at": later + days(9)}
    yield work.send_out, ("RB-1",), {"shop": "x", "what": "y", "since": later + days(9)}
    yield work.take_back, ("RB-1",), {"at": later + days(10), "result": "sound"}
    yield work.amend_work, (newest(work.list_work).work_id,), {"due": later + days(11)}
    yield work.withdraw_work, (newest(work.list_work).work_id,), {}
    yield fitments.withdraw_fitment, (newest(fitments.list_fitments).fitment_id,), {}
    findings = [a_finding(), a_finding(position="1", mode=None, grade=0)]
    yield teardowns.record_teardown, ("E-1", later + days(20), findings), {}
    torn_down = newest(teardowns.teardowns_of)
    yield teardowns.add_findings, (torn_down.teardown_id, [a_finding(position="3")]), {}
    yield teardowns.amend_teardown, (torn_down.teardown_id,), {"at": later + days(21)}
    found = newest(teardowns.findings_of)
    yield teardowns.amend_finding, (found.finding_id, a_finding(position="3", grade=4)), {}
    yield teardowns.withdraw_finding, (found.finding_id,), {}
    yield teardowns.withdraw_teardown, (torn_down.teardown_id,), {}
    yield builds.withdraw_refresh, (refresh_id(),), {}
    yield history.withdraw_history, (newest(history.list_history).history_id,), {}
    yield engines.add_engine, ("E-3", SPEC), {}
    yield engines.withdraw_engine, ("E-3",), {}


@pytest.fixture
def season(with_engine):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "r1", [an_event("r1")])
    add_run(with_engine, "r2", [an_event("r2")], at=MAY + minutes(30))
    return with_engine


def test_every_act_can_be_undone_and_done_again(season):
    """Each undo brings the state before its act back, each redo that after it."""
    states = [read(season, state)]
    acts = 0
    for what, args, kwargs in everything_once(season):
        write(season, what, *args, **kwargs)
        states.append(read(season, state))
        assert states[-1] != states[-2] or what is engines.withdraw_engine, what
        acts += 1
    for before in reversed(states[:-1]):
        write(season, undo)
        assert read(season, state) == before
    for after in states[1:]:
        write(season, redo)
        assert read(season, state) == after
    assert season.faults() == ()
    assert len(read(season, journal)) == 2 + 3 * acts


def test_an_undo_is_written_down_and_names_what_it_reverts(season):
    write(season, corrections.assign_run, "r1", "E-2", "swapped")
    (done, *_) = read(season, journal)
    assert read(season, next_undo) == done
    entry = write(season, undo, reason="they were not", who="Bob")
    assert (entry.who, entry.action, entry.undoes) == ("Bob", "undo", done.entry_id)
    assert (entry.reason, entry.engine_ids) == ("they were not", ("E-1", "E-2"))
    assert (entry.changes[0].before, entry.changes[0].after) == (
        {"engine_id": "E-2"},
        {"engine_id": "E-1"},
    )
    newest, reverted, *_ = read(season, journal)
    assert (newest, reverted.undone, newest.undone) == (entry, True, False)
    again = write(season, redo)
    assert (again.action, again.undoes) == ("redo", entry.entry_id)
    assert [each.undone for each in read(season, journal)[:3]] == [False, True, False]


def test_a_run_that_went_back_waits_for_judging(season):
    write(season, corrections.assign_run, "r1", "E-2")
    with season.writing() as session:
        events.replace_events(session, "r1", [], judged_by="today")
    write(season, undo)
    assert read(season, runs.find_run, "r1").judged_by is None


def test_undo_may_be_of_one_engine(season):
    write(season, builds.add_refresh, "E-1", MAY)
    write(season, builds.add_refresh, "E-2", MAY)
    assert write(season, undo, engine_id="E-1").engine_ids == ("E-1",)
    assert read(season, builds.refreshes_of, "E-1") == ()
    assert len(read(season, builds.refreshes_of, "E-2")) == 1
    assert read(season, next_redo, engine_id="E-2") is None


def test_there_may_be_nothing_to_undo(register):
    with pytest.raises(RegisterError, match=r"There is nothing to undo\."):
        write(register, undo)
    add_engine(register)
    with pytest.raises(RegisterError, match="There is no undo to take back of engine E-1"):
        write(register, redo, engine_id="E-1")


def test_what_was_changed_since_is_not_undone(season):
    """E-2's newest act gave it r1; Bob gave r1 on to E-3 since, which E-2's undo passes over."""
    add_engine(season, "E-3")
    write(season, corrections.assign_run, "r1", "E-2")
    moved = read(season, next_undo)
    write(season, corrections.assign_run, "r1", "E-3", who="Bob")
    write(season, undo)
    write(season, corrections.remove_run, "r1", who="Bob")
    write(season, undo, engine_id="E-2")
    assert read(season, next_undo, engine_id="E-2") == moved


def test_an_undo_that_would_lose_a_later_change_is_refused(season):
    """A part without an engine: the newest act on E-1 is older than Bob's word on the same run."""
    add_engine(season, "E-3")
    write(season, corrections.assign_run, "r1", "E-2")
    write(season, corrections.assign_run, "r1", "E-3", who="Bob")
    message = r"run r1 of E-3 was changed since \(Bob gave the run r1 of E-2 to E-3 \(20.*by hand"
    with pytest.raises(RegisterError, match=message):
        write(season, undo, engine_id="E-1")
    assert read(season, runs.find_run, "r1").engine_id == "E-3"


def test_an_undo_keeps_the_rules(season):
    """What was removed comes back only where nothing took its place."""
    write(season, corrections.remove_run, "r2")
    add_run(season, "r3", at=MAY + minutes(31))
    with pytest.raises(RegisterError, match="The run r2 overlaps r3 of engine E-1"):
        write(season, undo)
    assert read(season, runs.find_run, "r2").removed_at is not None


def test_taking_a_log_in_anew_is_no_act_to_undo(season):
    write(season, corrections.remove_run, "r1", "wrong units")
    removed = read(season, next_undo)
    add_run(season, "r1")
    assert read(season, journal)[0].action == "run replace"
    assert read(season, next_undo) == removed
    message = r"run r1 of E-1 was changed since \(babbitt took the run r1 of E-1 in anew"
    with pytest.raises(RegisterError, match=message):
        write(season, undo)


def test_an_act_may_be_undone_by_its_number(season):
    """What cannot be undone does not stand in the way of what was done before it."""
    write(season, builds.add_refresh, "E-1", MAY)
    refreshed = read(season, next_undo)
    write(season, corrections.remove_run, "r1")
    add_run(season, "r1")
    assert write(season, undo, entry_id=refreshed.entry_id).undoes == refreshed.entry_id
    assert read(season, builds.refreshes_of, "E-1") == ()


def test_an_act_that_cannot_be_undone_by_its_number_says_why(season):
    write(season, corrections.remove_run, "r1")
    removed = read(season, next_undo).entry_id
    undone = write(season, undo).entry_id
    write(season, corrections.remove_run, "r1")
    add_run(season, "r1")
    replaced = read(season, journal)[0].entry_id
    for entry_id, message in [
        (removed, f"The entry {removed} was undone already"),
        (undone, f"The entry {undone} took back no. {removed} itself: redo it"),
        (replaced, f"The entry {replaced} cannot be undone: what was there before was not kept"),
        (replaced + 9, f"The journal has no entry {replaced + 9}"),
        (10**30, f"The journal has no entry {10**30}"),
    ]:
        with pytest.raises(RegisterError, match=message):
            write(season, undo, entry_id=entry_id)


example = itertools.count()
actions = st.lists(
    st.one_of(
        st.tuples(st.just("assign"), st.integers(0, 3), st.sampled_from(["a", "b"])),
        st.tuples(st.just("remove"), st.integers(0, 3), st.none()),
        st.tuples(st.just("restore"), st.integers(0, 3), st.none()),
        st.tuples(st.just("review"), st.integers(0, 3), st.sampled_from(["harmless", "confirmed"])),
        st.tuples(st.just("move"), st.integers(-2, 8), st.none()),
        st.tuples(st.just("unlogged"), st.integers(1, 60), st.none()),
        st.tuples(st.just("undo"), st.none(), st.none()),
        st.tuples(st.just("redo"), st.none(), st.none()),
    ),
    max_size=12,
)


def _sums(session, n):
    """Return the totals of each build of both engines of an example."""
    return window_sums(
        session,
        [
            Window(build.engine_id, build.since, build.until, VERSION)
            for name in ("a", "b")
            for build in builds.builds_of(session, f"{name}{n}")
        ],
    )


def _set_up(session, n):
    for name in ("a", "b"):
        engines.add_engine(session, f"{name}{n}", SPEC, built_at=BUILT)
        builds.add_refresh(session, f"{name}{n}", MAY + days(2))
    for k in range(4):
        run_id = f"r{n}-{k}"
        runs.record_run(session, a_run(run_id, engine_id=f"a{n}", at=MAY + days(k)), an_exposure())
        found = [an_event(run_id, dose=float(k + 1))]
        events.replace_events(session, run_id, found, judged_by="test")
    corrections.add_unlogged(session, f"a{n}", minutes=10, at=MAY + days(5))


def _act(session, n, action, number, name):
    """Do one thing; what is refused is left."""
    run_id = f"r{n}-{number}"
    refresh = builds.refreshes_of(session, f"a{n}")
    (unlogged,) = (run for run in runs.list_runs(session, engine_id=f"a{n}") if run.unlogged)
    try:
        match action:
            case "assign":
                corrections.assign_run(session, run_id, f"{name}{n}")
            case "remove":
                corrections.remove_run(session, run_id)
            case "restore":
                corrections.restore_run(session, run_id)
            case "review":
                events.add_review(session, an_event(run_id).event_id, name)
            case "move":
                at = MAY + days(number)
                builds.amend_refresh(session, refresh[0].refresh_id, at=at)
            case "unlogged":
                corrections.amend_run(session, unlogged.run_id, minutes=number)
            case "undo":
                undo(session, engine_id=f"a{n}")
            case "redo":
                redo(session, engine_id=f"a{n}")
    except RegisterError:
        pass


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=10, deadline=None
)
@given(actions)
def test_totals_depend_on_the_records_and_not_on_how_they_came_about(register, acts):
    """Whatever was corrected and undone, the records as they stand now, entered straight, sum so.

    Undo of the very acts that set an example up is out, as they made its engine.
    """
    n, plain = next(example), next(example)
    with register.writing() as session:
        _set_up(session, n)
        begun = journal(session, limit=1)[0].entry_id
        for act in acts:
            if act[0] == "undo":
                newest = next_undo(session, engine_id=f"a{n}")
                if newest is None or newest.entry_id <= begun:
                    continue
            _act(session, n, *act)
        assert register.faults() == ()
        _set_up(session, plain)
        _enter_straight(session, n, plain)
        corrected, straight = _sums(session, n), _sums(session, plain)
    assert corrected == straight


def _enter_straight(session, n, plain):
    """Bring the example `plain`, as it was set up, to the records that `n` ended with."""
    (at,) = (each.at for each in builds.refreshes_of(session, f"a{n}"))
    (refresh,) = builds.refreshes_of(session, f"a{plain}")
    builds.amend_refresh(session, refresh.refresh_id, at=at)
    (there,) = (r for r in runs.list_runs(session, engine_id=f"a{n}") if r.unlogged)
    (here,) = (r for r in runs.list_runs(session, engine_id=f"a{plain}") if r.unlogged)
    corrections.amend_run(session, here.run_id, minutes=there.duration_s / 60.0)
    for k in range(4):
        run_id = f"r{plain}-{k}"
        ended = runs.find_run(session, f"r{n}-{k}")
        if not ended.engine_id.startswith("a"):
            corrections.assign_run(session, run_id, f"b{plain}")
        for dated in events.list_events(session, run_id=f"r{n}-{k}"):
            if dated.event.review is not None:
                events.add_review(session, an_event(run_id).event_id, dated.event.review)
        if ended.removed_at is not None:
            corrections.remove_run(session, run_id)


def test_sentences_tell_of_every_act(season):
    for what, args, kwargs in everything_once(season):
        write(season, what, *args, **kwargs)
    for entry in read(season, journal):
        told = sentence(entry)
        assert told
        assert "{" not in told
        assert "None" not in told
