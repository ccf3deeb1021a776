"""The revision of the record tells one state of it from another, on both databases."""

from __future__ import annotations

from datetime import timedelta

from babbitt.model.records import SurfaceRecord
from babbitt.register.queries.revision import revision
from babbitt.register.records import builds, corrections, engines, events, runs
from register_records import MAY, OTHER_SPEC, a_run, add_engine, an_event, an_exposure

NOW = MAY + timedelta(days=30)


def revisions(register, *steps):
    """The revision before the first step, and after each."""
    found = []
    for step in (lambda _session: None, *steps):
        with register.writing("Ann") as session:
            step(session)
        with register.reading() as session:
            found.append(revision(session, NOW))
            assert revision(session, NOW) == found[-1]
    return found


def test_every_change_of_the_record_is_another_revision(register) -> None:
    add_engine(register)
    with register.writing("Ann") as session:
        runs.record_run(session, a_run("r1"), an_exposure())

    def judged(by):
        return lambda session: events.replace_events(session, "r1", [an_event("r1")], judged_by=by)

    def reviewed(session) -> None:
        (dated,) = events.list_events(session)
        events.add_review(session, dated.event.event_id, "harmless")

    def another_surface(session) -> None:
        (build,) = builds.builds_of(session, "E-1")
        builds.save_surface(session, build, SurfaceRecord("{}", "k2"))

    found = revisions(
        register,
        judged("k1"),
        judged("k2"),
        reviewed,
        lambda session: runs.record_run(
            session, a_run("r2", at=MAY + timedelta(days=1)), an_exposure()
        ),
        lambda session: corrections.remove_run(session, "r2"),
        another_surface,
        lambda session: engines.set_spec(session, "E-1", OTHER_SPEC),
        lambda session: builds.add_refresh(session, "E-1", MAY + timedelta(days=2)),
    )
    assert len(set(found)) == len(found)


def test_judging_again_by_the_same_key_is_no_change(register) -> None:
    add_engine(register)
    with register.writing("Ann") as session:
        runs.record_run(session, a_run("r1"), an_exposure())
        events.replace_events(session, "r1", [an_event("r1")], judged_by="k1")
    before, after = revisions(
        register,
        lambda session: events.replace_events(session, "r1", [an_event("r1")], judged_by="k1"),
    )
    assert before == after


def test_what_is_dated_ahead_changes_it_when_it_begins_to_count(register) -> None:
    add_engine(register)
    with register.writing("Ann") as session:
        builds.add_refresh(session, "E-1", NOW)
    with register.reading() as session:
        just_before = revision(session, NOW - timedelta(seconds=1))
        assert just_before == revision(session, NOW - timedelta(days=1))
        assert just_before != revision(session, NOW)
