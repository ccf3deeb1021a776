import itertools
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.model.exposure import KindSums
from babbitt.model.kinds import KINDS
from babbitt.model.records import Window
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import corrections, engines, events, runs
from register_records import (
    MAY,
    SPEC,
    VERSION,
    a_run,
    add_engine,
    add_run,
    an_event,
    an_exposure,
    days,
    minutes,
)

WHOLE_LIFE = Window("E-1", None, None, VERSION)


def sums(register, *windows):
    with register.reading() as session:
        return window_sums(session, windows or [WHOLE_LIFE])


def test_a_window_without_runs_sums_to_nothing(with_engine):
    (found,) = sums(with_engine)
    assert (found.runs, found.running_s, found.revolutions, found.starts) == (0, 0.0, 0.0, 0)
    assert (found.first_start, found.last_end) == (None, None)
    assert found.kinds == dict.fromkeys(KINDS, KindSums(0.0, 0, 0.0, 0.0, 0))


def test_no_windows_no_sums(with_engine):
    with with_engine.reading() as session:
        assert window_sums(session, []) == ()


def test_exposures_and_events_add_up(with_engine):
    add_run(with_engine, "r1", [an_event("r1"), an_event("r1", peak_s=300.0, dose=2.5)])
    add_run(with_engine, "r2", [an_event("r2", kind="overboost")], at=MAY + days(1))
    (found,) = sums(with_engine)
    assert (found.runs, found.unlogged_runs, found.unlogged_s) == (2, 0, 0.0)
    assert (found.running_s, found.revolutions, found.starts) == (1200.0, 80_000.0, 2)
    assert (found.heat_cycles, found.runs_without_heat_cycles) == (1.0, 0)
    assert (found.first_start, found.last_end) == (MAY, MAY + days(1) + minutes(10))
    assert found.kinds["over_rev"] == KindSums(1000.0, 2, 4.0, 12.5, 0)
    assert found.kinds["overboost"] == KindSums(1000.0, 1, 2.0, 10.0, 0)
    assert found.kinds["cold_load"] == KindSums(1000.0, 0, 0.0, 0.0, 0)
    assert list(found.kinds) == list(KINDS)


def test_what_a_log_could_not_tell_is_counted_as_such(with_engine):
    add_run(with_engine, "r1")
    add_run(with_engine, "r2", exposure=an_exposure(heat_cycles=None, watched_s={"over_rev": 60.0}))
    (found,) = sums(with_engine)
    assert (found.heat_cycles, found.runs_without_heat_cycles) == (0.5, 1)
    assert found.kinds["over_rev"].watched_s == 560.0
    assert found.kinds["oil_starvation"].watched_s == 500.0


def test_unlogged_running_adds_its_time_and_nothing_else(with_engine):
    add_run(with_engine)
    with with_engine.writing() as session:
        corrections.add_unlogged(session, "E-1", minutes=40, at=MAY + days(1))
    (found,) = sums(with_engine)
    assert (found.runs, found.unlogged_runs) == (2, 1)
    assert (found.running_s, found.unlogged_s) == (3000.0, 2400.0)
    assert (found.revolutions, found.starts, found.heat_cycles) == (40_000.0, 1, 0.5)
    assert found.runs_without_heat_cycles == 1
    assert found.kinds["over_rev"].watched_s == 500.0


def test_a_removed_run_is_out_until_it_is_restored(with_engine):
    add_run(with_engine, "r1", [an_event("r1")])
    before = sums(with_engine)
    with with_engine.writing() as session:
        corrections.remove_run(session, "r1")
    (found,) = sums(with_engine)
    assert (found.runs, found.kinds["over_rev"].count) == (0, 0)
    with with_engine.writing() as session:
        corrections.restore_run(session, "r1")
    assert sums(with_engine) == before


@pytest.mark.parametrize(
    ("verdict", "count"), [("confirmed", 1), ("sensor_fault", 0), ("harmless", 0)]
)
def test_a_review_takes_an_event_out_or_leaves_it_in(with_engine, verdict, count):
    add_run(with_engine, found=[an_event()])
    with with_engine.writing() as session:
        events.add_review(session, an_event().event_id, verdict)
    (found,) = sums(with_engine)
    assert found.kinds["over_rev"].count == count
    assert found.kinds["over_rev"].dose == 10.0 * count


def test_events_found_under_other_limits_are_told_apart(with_engine):
    old = an_event(spec_version="other")
    add_run(with_engine, found=[old, an_event(peak_s=300.0)])
    (found,) = sums(with_engine)
    assert (found.kinds["over_rev"].count, found.kinds["over_rev"].stale) == (2, 1)


def test_a_run_belongs_to_the_window_it_starts_in(with_engine):
    for n in range(4):
        add_run(with_engine, f"r{n}", at=MAY + days(n), minutes=24 * 60.0)
    (found,) = sums(with_engine, Window("E-1", MAY + days(1), MAY + days(3), VERSION))
    assert (found.runs, found.first_start) == (2, MAY + days(1))


def test_many_windows_take_four_queries(with_engine, count_queries):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "r1", [an_event("r1")])
    add_run(with_engine, "r2", [replace(an_event("r2"), engine_id="E-2")], engine_id="E-2")
    windows = [
        Window("E-1", None, None, VERSION),
        Window("E-9", None, None, VERSION),
        Window("E-2", None, None, "other limits"),
        Window("E-1", MAY + days(1), None, VERSION),
        Window("E-1", None, None, VERSION),
    ]
    with count_queries() as sent:
        found = sums(with_engine, *windows)
    assert len(sent) == 4
    assert [each.runs for each in found] == [1, 0, 1, 0, 1]
    assert [each.kinds["over_rev"].stale for each in found] == [0, 0, 1, 0, 0]


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_sums_read_no_run_outside_their_windows(with_engine, count_queries):
    """SQLite scans the windows only; it reaches runs by engine and start, histories by engine."""
    reached = ("SEARCH run USING INDEX ix_run_engine_id_started_at", "SEARCH history USING INDEX")
    with count_queries() as sent:
        sums(with_engine)
    with with_engine.reading() as session:
        for statement, parameters in sent:
            plan = session.connection().exec_driver_sql(
                f"EXPLAIN QUERY PLAN {statement}", parameters
            )
            steps = [row.detail for row in plan]
            assert any(step.startswith(reached) for step in steps)
            scans = [step for step in steps if step.startswith("SCAN")]
            assert scans == ["SCAN CONSTANT ROW", "SCAN stretch"]


some_runs = st.lists(
    st.tuples(
        st.sampled_from(["one", "two"]),
        st.integers(0, 10),
        st.lists(st.tuples(st.sampled_from(list(KINDS)), st.floats(0.0, 1e6)), max_size=3),
        st.booleans(),
    ),
    max_size=8,
)


example = itertools.count()


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15, deadline=None
)
@given(some_runs, st.integers(0, 10), st.integers(0, 10))
def test_sums_agree_with_a_plain_loop(register, recorded, since, until):
    n = next(example)  # one register serves all examples: each has engines of its own
    with register.writing() as session:
        for engine_id in ("one", "two"):
            engines.add_engine(session, f"{engine_id}-{n}", SPEC)
        for place, (engine_id, day, found, removed) in enumerate(recorded):
            run_id = f"r{n}-{place}"
            run = a_run(run_id, engine_id=f"{engine_id}-{n}", at=MAY + days(day))
            runs.record_run(session, run, an_exposure())
            harm = [
                an_event(run_id, kind=kind, peak_s=float(peak_s), dose=dose)
                for peak_s, (kind, dose) in enumerate(found)
            ]
            events.replace_events(session, run_id, harm, judged_by="test")
            if removed:
                corrections.remove_run(session, run_id)
    (summed,) = sums(register, Window(f"one-{n}", MAY + days(since), MAY + days(until), VERSION))
    inside = [
        found
        for engine_id, day, found, removed in recorded
        if engine_id == "one" and since <= day < until and not removed
    ]
    assert summed.runs == len(inside)
    assert summed.running_s == 600.0 * len(inside)
    for kind in KINDS:
        doses = [dose for found in inside for each, dose in found if each == kind]
        assert summed.kinds[kind].count == len(doses)
        assert summed.kinds[kind].dose == pytest.approx(sum(doses))
