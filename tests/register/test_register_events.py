from dataclasses import replace

import pytest

from babbitt.errors import RegisterError
from babbitt.model.event import Reason, confidence_of
from babbitt.register.journal.entries import journal
from babbitt.register.records import events, runs
from register_records import MAY, add_engine, add_run, an_event, days


def review(register, event_id, verdict, note=""):
    with register.writing("Ann") as session:
        return events.add_review(session, event_id, verdict, note)


def judge(register, found, run_id="r1"):
    with register.writing() as session:
        events.replace_events(session, run_id, found, judged_by="test")


def listed(register, **only):
    with register.reading() as session:
        return [dated.event for dated in events.list_events(session, **only)]


def test_events_come_back_as_they_were_found(with_engine):
    starved = an_event(
        kind="oil_starvation",
        peak=120.5,
        cause=None,
        side="left",
        direction="left",
        confidence=confidence_of([Reason("pressure_not_learned")]),
    )
    add_run(with_engine, found=[an_event(), starved])
    assert listed(with_engine) == [starved, an_event()]


def test_an_event_is_dated_by_its_run(with_engine):
    add_run(with_engine, found=[an_event(start_s=90.0)])
    with with_engine.reading() as session:
        (dated,) = events.list_events(session)
    assert dated.run_started_at == MAY
    assert dated.at.isoformat() == "2026-05-02T10:01:30+00:00"


def test_events_found_anew_take_the_place_of_the_old(with_engine):
    add_run(with_engine, found=[an_event(peak_s=101.0), an_event(peak_s=300.0)])
    anew = an_event(peak_s=500.0)
    with with_engine.writing() as session:
        events.replace_events(session, "r1", [anew], judged_by="new limits")
    assert listed(with_engine) == [anew]
    with with_engine.reading() as session:
        assert runs.find_run(session, "r1").judged_by == "new limits"


def test_a_run_without_harm_has_no_events(with_engine):
    add_run(with_engine, found=[an_event()])
    judge(with_engine, [])
    assert listed(with_engine) == []


def test_events_of_another_run_are_a_fault(with_engine):
    add_run(with_engine)
    with pytest.raises(ValueError, match="not of the run r1"):
        judge(with_engine, [an_event("r2")])


def test_events_of_an_unknown_run_are_refused(with_engine):
    with pytest.raises(RegisterError, match="no run 'r9'"):
        judge(with_engine, [], run_id="r9")


def test_list_events_filters_and_orders_in_one_query(with_engine, count_queries):
    add_engine(with_engine, "E-2")
    later = an_event("later", start_s=5.0)
    boost = an_event("early", start_s=300.0, kind="overboost", peak_s=301.0)
    over_rev = an_event("early", start_s=100.0)
    other = replace(an_event("other"), engine_id="E-2")
    add_run(with_engine, "later", [later], at=MAY + days(2))
    add_run(with_engine, "early", [boost, over_rev], at=MAY + days(1))
    add_run(with_engine, "other", [other], at=MAY + days(3), engine_id="E-2")
    with count_queries() as sent:
        assert listed(with_engine) == [over_rev, boost, later, other]
    assert len(sent) == 1
    assert listed(with_engine, engine_id="E-2") == [other]
    assert listed(with_engine, run_id="ear") == [over_rev, boost]
    assert listed(with_engine, kind="overboost") == [boost]
    assert listed(with_engine, since=MAY + days(2), until=MAY + days(3)) == [later]
    assert listed(with_engine, engine_id="E-2", kind="overboost") == []


@pytest.mark.parametrize(
    ("only", "message"), [({"engine_id": "E-9"}, "no engine"), ({"run_id": "r9"}, "no run")]
)
def test_list_events_refuses_what_is_not_there(with_engine, only, message):
    with pytest.raises(RegisterError, match=message):
        listed(with_engine, **only)


def test_a_review_stays_with_the_event_and_is_in_the_journal(with_engine):
    add_run(with_engine, found=[an_event()])
    event_id = an_event().event_id
    assert review(with_engine, event_id[:5], "harmless", "seen on video").event.review == "harmless"
    assert [event.review for event in listed(with_engine)] == ["harmless"]
    with with_engine.reading() as session:
        entry = journal(session)[0]
    assert (entry.who, entry.engine_ids, entry.action) == ("Ann", ("E-1",), "review")
    assert entry.reason == "seen on video"
    (change,) = entry.changes
    assert (change.record, change.about["event_id"], change.before) == ("review", event_id, None)
    assert change.after["verdict"] == "harmless"


def test_the_newest_review_holds(with_engine):
    add_run(with_engine, found=[an_event()])
    review(with_engine, an_event().event_id, "harmless")
    review(with_engine, an_event().event_id, "confirmed")
    assert [event.review for event in listed(with_engine)] == ["confirmed"]


def test_a_review_survives_a_change_of_limits_that_moves_the_event(with_engine):
    add_run(with_engine, found=[an_event(start_s=100.0, end_s=110.0)])
    review(with_engine, an_event().event_id, "sensor_fault")
    judge(
        with_engine,
        [
            an_event(start_s=100.5, end_s=103.0),  # the same peak, so the same id
            an_event(start_s=104.0, end_s=108.0, peak_s=106.0),  # split off it
            an_event(start_s=300.0, end_s=310.0, peak_s=306.0),
        ],
    )
    assert [event.review for event in listed(with_engine)] == ["sensor_fault", "sensor_fault", None]


def test_a_review_returns_when_its_event_does(with_engine):
    add_run(with_engine, found=[an_event()])
    review(with_engine, an_event().event_id, "harmless")
    judge(with_engine, [])
    judge(with_engine, [an_event()])
    assert [event.review for event in listed(with_engine)] == ["harmless"]


def test_reviews_of_other_runs_do_not_matter(with_engine):
    add_run(with_engine, "r1", [an_event("r1")])
    add_run(with_engine, "r2", [an_event("r2")])
    review(with_engine, an_event("r1").event_id, "harmless")
    assert [event.review for event in listed(with_engine, run_id="r2")] == [None]


@pytest.mark.parametrize("unknown", ["zzz", "", "%"])
def test_an_unknown_event_is_refused(with_engine, unknown):
    add_run(with_engine, found=[an_event()])
    with pytest.raises(RegisterError, match=r"There is no event .* look it up"):
        review(with_engine, unknown, "harmless")


def test_an_ambiguous_event_is_refused(with_engine):
    found = [replace(an_event(), event_id="aa1"), replace(an_event(), event_id="aa2")]
    add_run(with_engine, found=found)
    with pytest.raises(RegisterError, match=r"'aa' begins the ids of several events \(aa1, aa2\)"):
        review(with_engine, "aa", "harmless")


def test_an_unknown_verdict_is_refused(with_engine):
    add_run(with_engine, found=[an_event()])
    with pytest.raises(RegisterError, match="'fine' is no review: choose confirmed"):
        review(with_engine, an_event().event_id, "fine")


def test_the_reviews_of_a_run_tell_who_said_what(with_engine):
    event = an_event()
    add_run(with_engine, "r1", [event])
    with with_engine.writing("Ann") as session:
        events.add_review(session, event.event_id, "sensor_fault", "plug loose")
    with with_engine.reading() as session:
        (said,) = events.reviews_of(session, "r1")
    assert (said.event_id, said.verdict, said.note, said.who) == (
        event.event_id,
        "sensor_fault",
        "plug loose",
        "Ann",
    )


def test_a_review_is_refused_where_somebody_else_was_faster(with_engine):
    event, other = an_event(), an_event(kind="overboost")
    add_run(with_engine, "r1", [event, other])
    with with_engine.writing("Ann") as session:
        events.add_review(session, event.event_id, "sensor_fault", "plug loose")
    with (
        pytest.raises(RegisterError, match=r"Ann called this event sensor fault \(plug loose\)"),
        with_engine.writing("Bob") as session,
    ):
        events.add_review(session, event.event_id, "confirmed", seen=0)
    with with_engine.writing("Bob") as session:
        events.add_review(session, other.event_id, "confirmed", seen=0)
        (first, _) = events.reviews_of(session, "r1")
        events.add_review(session, event.event_id, "confirmed", seen=first.review_id)
