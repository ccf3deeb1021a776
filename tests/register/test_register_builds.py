import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.records import SurfaceRecord
from babbitt.register.journal.entries import journal
from babbitt.register.records import builds, corrections, engines
from register_records import BUILT, MAY, SPEC, add_engine, add_run, days


def refresh(register, at, note="", engine_id="E-1"):
    with register.writing() as session:
        builds.add_refresh(session, engine_id, at, note)


def test_a_new_engine_is_in_its_first_build(with_engine):
    with with_engine.reading() as session:
        (build,) = builds.builds_of(session, "E-1")
    assert (build.number, build.since, build.until, build.note) == (1, BUILT, None, "")


def test_an_engine_of_unknown_age_has_a_first_build_without_beginning(register):
    add_engine(register, built_at=None)
    refresh(register, MAY)
    with register.reading() as session:
        assert [(b.since, b.until) for b in builds.builds_of(session, "E-1")] == [
            (None, MAY),
            (MAY, None),
        ]


def test_refreshes_added_in_any_order_bound_the_builds_in_theirs(with_engine):
    refresh(with_engine, MAY + days(9), "second")
    refresh(with_engine, MAY, "first")
    with with_engine.reading() as session:
        found = builds.builds_of(session, "E-1")
    assert [(b.number, b.since, b.until, b.note) for b in found] == [
        (1, BUILT, MAY, ""),
        (2, MAY, MAY + days(9), "first"),
        (3, MAY + days(9), None, "second"),
    ]


@pytest.mark.parametrize(
    ("at", "number"), [(BUILT, 1), (MAY - days(1), 1), (MAY, 2), (MAY + days(1), 2)]
)
def test_a_build_holds_its_beginning_and_not_its_end(with_engine, at, number):
    refresh(with_engine, MAY)
    with with_engine.reading() as session:
        assert builds.build_at(session, "E-1", at).number == number


def test_there_is_no_build_before_the_engine_was_built(with_engine):
    with (
        pytest.raises(RegisterError, match="E-1 was not built yet at 2025-12-31"),
        with_engine.reading() as session,
    ):
        builds.build_at(session, "E-1", BUILT - days(1))


example = itertools.count()


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15, deadline=None
)
@given(st.lists(st.integers(1, 100), unique=True, max_size=6), st.integers(0, 120))
def test_builds_cover_an_engines_life_once(register, refreshed, day):
    """Every instant since the engine was built lies in exactly one build, the one of build_at."""
    engine_id = f"E-{next(example)}"
    at = BUILT + days(day)
    with register.writing() as session:
        engines.add_engine(session, engine_id, SPEC, built_at=BUILT)
        for after in refreshed:
            builds.add_refresh(session, engine_id, BUILT + days(after))
        found = builds.builds_of(session, engine_id)
        holding = builds.build_at(session, engine_id, at)
    assert [b for b in found if b.since <= at and (b.until is None or at < b.until)] == [holding]
    assert [b.number for b in found] == list(range(1, len(refreshed) + 2))


@pytest.mark.parametrize(
    ("at", "message"),
    [
        (MAY, "A build of engine E-1 begins at 2026-05-02 10:00:00 UTC already"),
        (BUILT, "begins at 2026-01-01 00:00:00 UTC already"),
        (BUILT - days(1), "before the engine E-1 was built .2026-01-01"),
    ],
)
def test_a_refresh_that_cannot_be_is_refused(with_engine, at, message):
    refresh(with_engine, MAY)
    with pytest.raises(RegisterError, match=message):
        refresh(with_engine, at)
    with with_engine.reading() as session:
        assert len(builds.builds_of(session, "E-1")) == 2


def test_a_refresh_of_an_unknown_engine_is_refused(with_engine):
    with pytest.raises(RegisterError, match="no engine 'E-2'"):
        refresh(with_engine, MAY, engine_id="E-2")


def test_a_refresh_is_in_the_journal(with_engine):
    with with_engine.writing("Ann") as session:
        builds.add_refresh(session, "E-1", MAY, "new bearings")
    with with_engine.reading() as session:
        entry = journal(session)[0]
    assert (entry.who, entry.action, entry.reason) == ("Ann", "engine refresh", "new bearings")
    (change,) = entry.changes
    assert (change.record, change.before) == ("refresh", None)
    assert change.after["at"] == "2026-05-02T10:00:00+00:00"
    assert entry.engine_ids == ("E-1",)


def test_steady_pressures_come_in_the_order_of_the_runs_of_the_build(with_engine):
    refresh(with_engine, MAY)
    for run_id, day in [("late", 5), ("early", 1), ("old", -5), ("gone", 2), ("none", 3)]:
        add_run(with_engine, run_id, at=MAY + days(day))
        if run_id != "none":
            with with_engine.writing() as session:
                builds.save_steady_pressure(session, run_id, "draft")
                builds.save_steady_pressure(session, run_id, f"of {run_id}")
    with with_engine.writing() as session:
        corrections.remove_run(session, "gone")
    with with_engine.reading() as session:
        old, new = builds.builds_of(session, "E-1")
        assert builds.steady_pressures(session, new) == (("early", "of early"), ("late", "of late"))
        assert builds.steady_pressures(session, old) == (("old", "of old"),)
        assert builds.steady_pressures(session, new, limit=1) == (("early", "of early"),)
        assert builds.steady_pressure_of(session, "late") == "of late"
        assert builds.steady_pressure_of(session, "none") is None


@pytest.mark.parametrize("built_at", [None, BUILT])
def test_a_surface_is_kept_for_each_build(register, built_at):
    add_engine(register, built_at=built_at)
    refresh(register, MAY)
    with register.writing() as session:
        first, second = builds.builds_of(session, "E-1")
        builds.save_surface(session, first, SurfaceRecord("{}", "a"))
        builds.save_surface(session, first, SurfaceRecord("{1}", "b"))
    with register.reading() as session:
        assert builds.surface_of(session, first) == SurfaceRecord("{1}", "b")
        assert builds.surface_of(session, second) is None


def test_a_refresh_is_found_by_its_instant_or_its_day(with_engine):
    for hours in (0, 5, 50):
        refresh(with_engine, MAY + days(hours / 24), f"{hours} h")

    def found(at):
        with with_engine.reading() as session:
            return builds.find_refresh(session, "E-1", at).note

    assert found(None) == "50 h"
    assert found(MAY) == "0 h"
    assert found(MAY + days(1.5)) == "50 h"
    with pytest.raises(RegisterError, match=r"several refreshes on .*: say which .2026-05-02 10"):
        found(MAY - days(0.5))
    with pytest.raises(RegisterError, match="E-1 has no refresh on 2026-06-01"):
        found(MAY + days(30))


def test_builds_of_all_engines_are_those_of_each(with_engine, count_queries):
    add_engine(with_engine, "E-2", built_at=None)
    refresh(with_engine, MAY)
    refresh(with_engine, MAY + days(3), engine_id="E-2")
    with count_queries() as sent, with_engine.reading() as session:
        every = builds.all_builds(session)
    assert len(sent) == 2
    with with_engine.reading() as session:
        assert every == {name: builds.builds_of(session, name) for name in ("E-1", "E-2")}


def test_a_moved_refresh_may_not_lie_where_a_build_begins(with_engine):
    refresh(with_engine, MAY)
    refresh(with_engine, MAY + days(3))
    with with_engine.reading() as session:
        moved = builds.find_refresh(session, "E-1")
    for at, message in [(MAY, "begins at 2026-05-02"), (BUILT - days(1), "before the engine")]:
        with pytest.raises(RegisterError, match=message), with_engine.writing() as session:
            builds.amend_refresh(session, moved.refresh_id, at=at)
