"""Totals of parts over their fitments, against those of the engines that they sat in."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.model.exposure import KindSums
from babbitt.model.kinds import KINDS
from babbitt.model.records import Window
from babbitt.model.service_limits import ServiceLimit
from babbitt.register.queries.part_sums import near_service, part_sums
from babbitt.register.queries.sums import added_up, window_sums
from babbitt.register.records import (
    builds,
    corrections,
    engines,
    events,
    fitments,
    history,
    parts,
    runs,
)
from register_records import (
    BUILT,
    MAY,
    SPEC,
    VERSION,
    a_run,
    add_engine,
    add_run,
    an_event,
    an_exposure,
    days,
    read,
    write,
)


def sums_of(register, part_id, **about):
    (found,) = (p for p in read(register, part_sums, **about) if p.part.part_id == part_id)
    return found.sums


def test_an_engine_over_three_builds_by_hand(with_engine):
    """Each run is ten minutes, 40,000 revolutions and an over-rev of the dose given.

    Build 1, from 1 January: runs of dose 1 and 2. Build 2, from 1 May: 4 and 8. Build 3, from 1
    June: 16. The crank CR-1 is in builds 1 and 3, its spare CR-2, which ran an hour of 300,000
    revolutions elsewhere before, in build 2, and after it for one run of E-2, of dose 32.
    """
    add_engine(with_engine, "E-2")
    first, second = MAY.replace(day=1), MAY.replace(month=6, day=1)
    for n, (at, dose, engine_id) in enumerate(
        [
            (BUILT + days(1), 1.0, "E-1"),
            (BUILT + days(2), 2.0, "E-1"),
            (first + days(1), 4.0, "E-1"),
            (first + days(2), 8.0, "E-1"),
            (second + days(1), 16.0, "E-1"),
            (second + days(1), 32.0, "E-2"),
        ]
    ):
        run_id = f"r{n}"
        add_run(with_engine, run_id, [an_event(run_id, dose=dose)], at=at, engine_id=engine_id)
    for part_id in ("CR-1", "CR-2"):
        write(with_engine, parts.add_part, part_id, "crankshaft")
    write(with_engine, fitments.fit_part, "CR-1", "E-1", at=BUILT)
    before = {"running_s": 3600.0, "revolutions": 300_000.0, "until": BUILT}
    write(with_engine, history.add_part_history, "CR-2", **before)
    for at, part_id in [(first, "CR-2"), (second, "CR-1")]:
        line = builds.SheetLine("crankshaft", None, "replaced", part_id)
        write(with_engine, builds.add_refresh, "E-1", at, lines=[line])
    write(with_engine, fitments.fit_part, "CR-2", "E-2", at=second)

    by_build = read(
        with_engine,
        window_sums,
        [
            Window("E-1", build.since, build.until, VERSION)
            for build in read(with_engine, builds.builds_of, "E-1")
        ],
    )
    assert [each.kinds["over_rev"].dose for each in by_build] == [3.0, 12.0, 16.0]
    one, two = sums_of(with_engine, "CR-1"), sums_of(with_engine, "CR-2")
    assert (one.runs, one.running_s, one.revolutions) == (3, 1800.0, 120_000.0)
    assert one.kinds["over_rev"] == KindSums(1500.0, 3, 6.0, 19.0, 0)
    assert (two.runs, two.running_s, two.revolutions) == (3, 5400.0, 420_000.0)
    assert (two.history_s, two.unlogged_s, two.uncounted_s) == (3600.0, 3600.0, 0.0)
    assert two.kinds["over_rev"] == KindSums(1500.0, 3, 6.0, 44.0, 0)
    as_of = read(with_engine, part_sums, engine_id="E-1", at=first + days(2))
    assert [(p.part.part_id, p.sums.runs, len(p.fitments)) for p in as_of] == [("CR-2", 1, 1)]


def test_history_of_an_engine_counts_in_the_build_that_it_ends_in(with_engine):
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    write(with_engine, parts.add_part, "CR-2", "crankshaft")
    line = builds.SheetLine("crankshaft", None, "replaced", "CR-2")
    write(with_engine, fitments.fit_part, "CR-1", "E-1", at=BUILT)
    write(with_engine, builds.add_refresh, "E-1", MAY, lines=[line])
    write(with_engine, history.add_engine_history, "E-1", running_s=7200.0, until=MAY)
    add_run(with_engine, at=MAY + days(1))
    windows = [Window("E-1", BUILT, MAY, VERSION), Window("E-1", MAY, None, VERSION)]
    old, new = read(with_engine, window_sums, windows)
    assert (old.running_s, old.unlogged_s, old.history_s, old.runs) == (7200.0, 7200.0, 7200.0, 0)
    assert (old.revolutions, old.uncounted_s) == (0.0, 7200.0)
    assert (new.running_s, new.history_s, new.uncounted_s) == (600.0, 0.0, 0.0)
    assert sums_of(with_engine, "CR-1") == old
    assert sums_of(with_engine, "CR-2") == new


def test_a_log_from_within_the_history_would_count_twice(with_engine):
    write(with_engine, history.add_engine_history, "E-1", running_s=60.0, until=MAY)
    message = "log r1.csv is dated .* history of engine E-1 before the logs lasts until 2026-05-02"
    with pytest.raises(Exception, match=message):
        add_run(with_engine, "r1", at=MAY - days(1))
    add_run(with_engine, "r1", at=MAY)
    with pytest.raises(Exception, match="its record here begins at 2026-05-02"):
        write(with_engine, history.add_engine_history, "E-1", running_s=60.0, until=MAY + days(1))


def test_unlogged_running_has_no_revolutions(with_engine):
    write(with_engine, corrections.add_unlogged, "E-1", minutes=40, at=MAY)
    add_run(with_engine, at=MAY + days(1))
    (found,) = read(with_engine, window_sums, [Window("E-1", None, None, VERSION)])
    assert (found.running_s, found.unlogged_s, found.uncounted_s) == (3000.0, 2400.0, 2400.0)


def test_parts_that_were_never_fitted_have_taken_nothing(with_engine):
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    found = sums_of(with_engine, "CR-1")
    assert found == added_up([])
    assert (found.runs, found.running_s, found.first_start) == (0, 0.0, None)
    assert found.kinds == dict.fromkeys(KINDS, KindSums(0.0, 0, 0.0, 0.0, 0))
    assert read(with_engine, part_sums, engine_id="E-1") == ()


def test_the_queries_do_not_grow_with_the_parts(with_engine, count_queries):
    def queries():
        with count_queries() as sent:
            read(with_engine, part_sums)
        return len(sent)

    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    write(with_engine, fitments.fit_part, "CR-1", "E-1", at=MAY)
    few = queries()
    for n in range(1, 5):
        write(with_engine, parts.add_part, f"RB-{n}", "rod_bearing")
        write(with_engine, fitments.fit_part, f"RB-{n}", "E-1", at=MAY, position=str(n))
    assert queries() == few


def test_a_part_is_near_its_service_limit_from_four_fifths_on(with_engine):
    for part_id, hours in [("RB-1", 7.9), ("RB-2", 8.0), ("RB-3", 11.0)]:
        write(with_engine, parts.add_part, part_id, "rod_bearing")
        before = {"running_s": hours * 3600.0, "until": BUILT}
        write(with_engine, history.add_part_history, part_id, **before)
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    due = near_service(read(with_engine, part_sums), {"rod_bearing": ServiceLimit(running_h=10.0)})
    assert [(each.part.part_id, each.use.share) for each in due] == [("RB-3", 1.1), ("RB-2", 0.8)]


example = itertools.count()
seasons = st.tuples(
    st.lists(st.tuples(st.integers(0, 29), st.sampled_from(["x", "y"]), st.booleans()), max_size=8),
    st.lists(st.integers(1, 29), unique=True, max_size=3),
    st.lists(st.integers(1, 29), unique=True, max_size=3),
    st.one_of(st.none(), st.integers(1, 10)),
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=10, deadline=None
)
@given(seasons)
def test_parts_in_one_place_share_out_what_their_engine_took(register, season):
    """Of engine x: a head that stays takes all, cranks that change take it in turn.

    A gasket that is replaced at every refresh takes what its build did.
    """
    recorded, refreshed, changed, history_day = season
    n = next(example)
    with register.writing() as session:
        for name in "xy":
            engines.add_engine(session, f"{name}{n}", SPEC, built_at=MAY - days(20))
        parts.add_part(session, f"head{n}", "cylinder_head")
        fitments.fit_part(session, f"head{n}", f"x{n}", at=MAY - days(20))
        parts.add_part(session, f"gasket0-{n}", "head_gasket")
        fitments.fit_part(session, f"gasket0-{n}", f"x{n}", at=MAY - days(20))
        for place, after in enumerate(sorted(refreshed), start=1):
            part_id = f"gasket{place}-{n}"
            parts.add_part(session, part_id, "head_gasket")
            line = builds.SheetLine("head_gasket", None, "replaced", part_id)
            builds.add_refresh(session, f"x{n}", MAY + days(after), lines=[line])
        for place, after in enumerate([-20, *sorted(changed)]):
            parts.add_part(session, f"crank{place}-{n}", "crankshaft")
            fitments.fit_part(
                session, f"crank{place}-{n}", f"x{n}", at=MAY + days(after), replacing=True
            )
        if history_day is not None:
            until = MAY - days(history_day)
            history.add_engine_history(session, f"x{n}", running_s=99.0, until=until)
        for place, (day, name, removed) in enumerate(recorded):
            run_id = f"r{n}-{place}"
            run = a_run(run_id, engine_id=f"{name}{n}", at=MAY + days(day))
            runs.record_run(session, run, an_exposure())
            found = [an_event(run_id, dose=float(2**place))]
            events.replace_events(session, run_id, found, judged_by="test")
            if removed:
                corrections.remove_run(session, run_id)
        life = Window(f"x{n}", None, None, VERSION)
        (whole,) = window_sums(session, [life])
        by_part = {each.part.part_id: each.sums for each in part_sums(session)}
        spans = [
            Window(build.engine_id, build.since, build.until, VERSION)
            for build in builds.builds_of(session, f"x{n}")
        ]
        by_build = window_sums(session, spans)
    cranks = [by_part[f"crank{place}-{n}"] for place in range(len(changed) + 1)]
    assert by_part[f"head{n}"] == whole
    assert added_up(cranks) == whole
    assert tuple(by_part[f"gasket{place}-{n}"] for place in range(len(by_build))) == by_build
    assert added_up(by_build) == whole
