import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.records import RecordedChannel
from babbitt.register.journal.entries import journal
from babbitt.register.records import corrections, events, exposures, runs
from register_records import (
    BUILT,
    MAY,
    a_run,
    add_engine,
    add_run,
    an_event,
    an_exposure,
    days,
    minutes,
)


def ids(records):
    return [record.run_id for record in records]


def test_a_run_is_recorded_with_what_it_says_of_itself(with_engine):
    with with_engine.writing() as session:
        said = runs.record_run(session, a_run("r1"), an_exposure())
    with with_engine.reading() as session:
        record = runs.find_run(session, "r1")
    assert record == said
    assert (record.engine_id, record.started_at, record.start_basis) == ("E-1", MAY, "log")
    assert (record.duration_s, record.samples) == (600.0, 2)
    assert (record.source_name, record.source_sha256) == ("r1.csv", "r1".ljust(64, "0"))
    assert (record.dialect, record.warnings) == (("UTF-8", "comma"), ("no boost",))
    assert record.conversions == ("oil pressure: psi to kPa",)
    assert record.channels == (RecordedChannel("rpm", "1/min", 50.0, "RPM"),)
    assert (record.removed_at, record.unlogged, record.judged_by) == (None, False, None)


@pytest.mark.parametrize(
    "exposure",
    [an_exposure(), an_exposure(heat_cycles=None, watched_s={}, peak_rpm=None)],
    ids=["all known", "little known"],
)
def test_an_exposure_comes_back_as_it_was(with_engine, exposure):
    add_run(with_engine, exposure=exposure)
    with with_engine.reading() as session:
        assert exposures.exposure_of(session, "r1") == exposure


def test_an_exposure_found_anew_takes_the_place_of_the_old(with_engine):
    add_run(with_engine)
    anew = an_exposure(running_s=700.0, watched_s={"over_rev": 700.0})
    with with_engine.writing() as session:
        exposures.save_exposure(session, "r1", anew)
    with with_engine.reading() as session:
        assert exposures.exposure_of(session, "r1") == anew


def test_a_run_is_recorded_once(with_engine):
    add_run(with_engine)
    with pytest.raises(RegisterError, match="The run r1 is recorded already"):
        add_run(with_engine)


def test_a_removed_run_may_be_taken_in_anew_and_keeps_its_reviews(with_engine):
    add_engine(with_engine, "E-2")
    add_run(with_engine, found=[an_event()])
    with with_engine.writing() as session:
        events.add_review(session, an_event().event_id, "harmless")
        corrections.remove_run(session, "r1")
    with with_engine.writing() as session:
        runs.record_run(session, a_run(engine_id="E-2", minutes=5.0), an_exposure())
        assert events.list_events(session, run_id="r1") == ()
        events.replace_events(session, "r1", [an_event()], judged_by="again")
    with with_engine.reading() as session:
        record = runs.find_run(session, "r1")
        (found,) = events.list_events(session)
        assert journal(session)[0].action == "run replace"
    assert (record.engine_id, record.duration_s, record.removed_at) == ("E-2", 300.0, None)
    assert found.event.review == "harmless"


def test_a_run_from_before_the_engine_was_built_is_refused(with_engine):
    message = "The log r1.csv is dated 2025-12-31 .* before the engine E-1 was built"
    with pytest.raises(RegisterError, match=message):
        add_run(with_engine, at=BUILT - days(1))


def test_a_run_of_an_unknown_engine_is_refused(with_engine):
    with pytest.raises(RegisterError, match="no engine 'E-9'"):
        add_run(with_engine, engine_id="E-9")


def test_a_run_is_found_by_the_beginning_of_its_id(with_engine):
    for run_id in ("rab1", "rab2", "rac", "ra"):
        add_run(with_engine, run_id)
    with with_engine.reading() as session:
        assert runs.find_run(session, "rac").run_id == "rac"
        assert runs.find_run(session, "ra").run_id == "ra"
        with pytest.raises(
            RegisterError, match=r"'rab' begins the ids of several runs \(rab1, rab2\)"
        ):
            runs.find_run(session, "rab")


@pytest.mark.parametrize("unknown", ["x", "", "%", "_"])
def test_an_unknown_run_is_refused(with_engine, unknown):
    add_run(with_engine)
    with (
        pytest.raises(RegisterError, match=r"There is no run .* look it up"),
        with_engine.reading() as session,
    ):
        runs.find_run(session, unknown)


def test_many_candidates_are_cut_short(with_engine):
    for n in range(8):
        add_run(with_engine, f"r{n}")
    with (
        pytest.raises(RegisterError, match=r"\(r0, r1, r2, r3, r4 and more\)"),
        with_engine.reading() as session,
    ):
        runs.find_run(session, "r")


def test_a_run_is_found_by_the_hash_of_its_log(with_engine):
    add_run(with_engine)
    with with_engine.writing() as session:
        corrections.remove_run(session, "r1")
    with with_engine.reading() as session:
        assert runs.run_by_sha256(session, "r1".ljust(64, "0")).removed_at is not None
        assert runs.run_by_sha256(session, "0" * 64) is None


def test_list_runs_filters_and_orders_by_start(with_engine, count_queries):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "third", at=MAY + days(3))
    add_run(with_engine, "first", at=MAY + days(1))
    add_run(with_engine, "gone", at=MAY + days(2))
    add_run(with_engine, "other", at=MAY + days(4), engine_id="E-2")
    with with_engine.writing() as session:
        corrections.remove_run(session, "gone")
    with with_engine.reading() as session:
        with count_queries() as sent:
            assert ids(runs.list_runs(session)) == ["first", "third", "other"]
        assert len(sent) == 1
        assert ids(runs.list_runs(session, engine_id="E-2")) == ["other"]
        assert ids(runs.list_runs(session, include_removed=True, engine_id="E-1")) == [
            "first",
            "gone",
            "third",
        ]
        window = {"since": MAY + days(1), "until": MAY + days(3)}
        assert ids(runs.list_runs(session, **window)) == ["first"]
        with pytest.raises(RegisterError, match="no engine"):
            runs.list_runs(session, engine_id="E-9")


def test_list_runs_tells_what_waits_for_judging(with_engine):
    for run_id, key in [("new", "now"), ("old", "before")]:
        add_run(with_engine, run_id)
        with with_engine.writing() as session:
            events.replace_events(session, run_id, [], judged_by=key)
    with with_engine.writing() as session:
        runs.record_run(session, a_run("never"), an_exposure())
        corrections.add_unlogged(session, "E-1", minutes=5, at=MAY)
    with with_engine.reading() as session:
        assert ids(runs.list_runs(session, not_judged_by="now")) == ["never", "old"]


@pytest.mark.parametrize(
    ("start", "length", "found"),
    [
        (-5, 10, ["r1"]),
        (5, 1, ["r1"]),
        (-5, 60, ["r1"]),
        (9, 10, ["r1"]),
        (-5, 5, []),
        (10, 5, []),
        (60, 5, []),
    ],
)
def test_runs_that_share_time_overlap_and_touching_ends_do_not(with_engine, start, length, found):
    add_run(with_engine, "r1", at=MAY, minutes=10.0)
    with with_engine.reading() as session:
        overlapping = runs.overlapping_runs(session, "E-1", MAY + minutes(start), 60.0 * length)
    assert ids(overlapping) == found


def test_only_runs_of_known_start_that_count_can_overlap(with_engine):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "file", basis="file")
    add_run(with_engine, "stated", basis="stated")
    add_run(with_engine, "other", engine_id="E-2")
    add_run(with_engine, "gone")
    with with_engine.writing() as session:
        corrections.remove_run(session, "gone")
        corrections.add_unlogged(session, "E-1", minutes=10, at=MAY)
    with with_engine.reading() as session:
        assert ids(runs.overlapping_runs(session, "E-1", MAY, 600.0)) == ["stated"]


stretches = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 20)), max_size=6)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=12, deadline=None
)
@given(stretches, st.tuples(st.integers(0, 60), st.integers(1, 20)))
def test_overlap_is_a_shared_minute(with_engine, there, asked):
    """Against the sets of whole minutes that each stretch takes up."""

    def taken(stretch):
        return set(range(stretch[0], stretch[0] + stretch[1]))

    with with_engine.reading() as session:  # what is written in it is not kept
        for n, (start, length) in enumerate(there):
            run = a_run(f"r{n}", at=MAY + minutes(start), minutes=float(length))
            runs.record_run(session, run, an_exposure())
        start, length = asked
        found = runs.overlapping_runs(session, "E-1", MAY + minutes(start), 60.0 * length)
    assert set(ids(found)) == {f"r{n}" for n, s in enumerate(there) if taken(s) & taken(asked)}
