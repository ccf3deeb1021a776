"""How runs were read, what their sensors read, and what speaks against them."""

from __future__ import annotations

import pytest

from babbitt.errors import RegisterError, Remedy
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.present.remedies import remarks_of
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import undo
from babbitt.register.records import builds, corrections, events, runs, sensors
from register_records import MAY, a_run, add_engine, add_run, an_exposure, days, read, write

UNIT = SensorDoubt(
    "unit", ("oil_pressure",), "Oil pressure is off", (Remedy("unit", "oil_pressure", "bar"),)
)
SIDE = SensorDoubt(
    "side", ("lateral_g",), "The sign is wrong", (Remedy("lateral_positive", value="right"),)
)
GRAVE = ("unit",)


@pytest.fixture
def with_run(with_engine):
    add_run(with_engine)
    write(with_engine, sensors.save_reading, "r1", {"units": {}}, "what they read")
    return with_engine


def doubt(register, *doubts, run_id="r1"):
    write(register, sensors.save_doubts, run_id, doubts, compared_by="today", grave=GRAVE)


def test_doubts_are_among_the_warnings_with_their_command(with_run):
    doubt(with_run, UNIT, SIDE)
    record = read(with_run, runs.find_run, "r1")
    assert record.doubts == (UNIT, SIDE)
    assert remarks_of(record) == (
        "no boost",
        "Oil pressure is off: `babbitt run reread r1 --unit oil_pressure=bar`.",
        "The sign is wrong: `babbitt run reread r1 --lateral-positive right`.",
    )
    assert (record.read_as, record.trusted) == ({"units": {}}, False)


def test_only_grave_doubts_make_events_wait_for_judging(with_run):
    write(with_run, events.replace_events, "r1", [], judged_by="now")
    doubt(with_run, SIDE)
    assert read(with_run, runs.list_runs, not_judged_by="now") == ()
    doubt(with_run, UNIT)
    (waiting,) = read(with_run, runs.list_runs, not_judged_by="now")
    write(with_run, events.replace_events, "r1", [], judged_by="now" + waiting.doubts_key)
    assert read(with_run, runs.list_runs, not_judged_by="now") == ()
    doubt(with_run)
    assert len(read(with_run, runs.list_runs, not_judged_by="now")) == 1


def test_a_run_in_grave_doubt_teaches_no_pressure(with_run):
    write(with_run, builds.save_steady_pressure, "r1", "steady")
    (build,) = read(with_run, builds.builds_of, "E-1")
    assert read(with_run, builds.steady_pressures, build) == (("r1", "steady"),)
    doubt(with_run, UNIT)
    assert read(with_run, builds.steady_pressures, build) == ()


def test_runs_come_in_order_and_only_those_that_count(with_run, count_queries):
    add_engine(with_run, "E-2")
    add_run(with_run, "early", at=MAY - days(2))
    add_run(with_run, "other", engine_id="E-2")
    add_run(with_run, "gone", at=MAY + days(1))
    write(with_run, corrections.remove_run, "gone")
    write(with_run, corrections.add_unlogged, "E-1", minutes=5, at=MAY + days(3))
    doubt(with_run, UNIT)
    with with_run.reading() as session, count_queries() as sent:
        early, r1 = sensors.runs_to_compare(session, "E-1")
    assert len(sent) == 1
    assert (early.run_id, early.key, early.compared_by) == ("early", None, None)
    assert (r1.run_id, r1.doubts_key[:1], r1.compared_by) == ("r1", "/", "today")
    assert read(with_run, sensors.summaries_of, ["r1", "early"]) == {"r1": "what they read"}


def test_a_new_reading_needs_comparing_anew(with_run):
    doubt(with_run, UNIT)
    (before,) = read(with_run, sensors.runs_to_compare, "E-1")
    write(with_run, sensors.save_reading, "r1", {}, "something else")
    (after,) = read(with_run, sensors.runs_to_compare, "E-1")
    assert after.compared_by is None
    assert after.key != before.key


def test_trust_is_written_down_and_taken_back(with_run):
    write(with_run, sensors.trust_run, "r1", "new sensor")
    assert read(with_run, runs.find_run, "r1").trusted
    (entry,) = read(with_run, journal, limit=1)
    assert sentence(entry) == "called the sensors of the run r1 of E-1 sound"
    write(with_run, undo)
    assert not read(with_run, runs.find_run, "r1").trusted


def test_trust_that_makes_no_sense_is_refused(with_run):
    unlogged = write(with_run, corrections.add_unlogged, "E-1", minutes=5, at=MAY + days(3))
    with pytest.raises(RegisterError, match="has no log"):
        write(with_run, sensors.trust_run, unlogged.run_id)
    write(with_run, sensors.trust_run, "r1")
    with pytest.raises(RegisterError, match="trusted already"):
        write(with_run, sensors.trust_run, "r1")


def test_a_run_taken_in_again_begins_without_doubts(with_run):
    doubt(with_run, UNIT)
    write(with_run, sensors.trust_run, "r1")
    write(with_run, corrections.remove_run, "r1")
    write(with_run, runs.record_run, a_run("r1"), an_exposure())
    record = read(with_run, runs.find_run, "r1")
    assert (record.doubts, record.doubts_key, record.trusted, record.read_as) == (
        (),
        "",
        False,
        None,
    )
    assert read(with_run, sensors.summaries_of, ["r1"]) == {}
