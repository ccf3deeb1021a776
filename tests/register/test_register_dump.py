from datetime import timedelta

import pytest

from babbitt.errors import RegisterError
from babbitt.register.dictionary import dictionary
from babbitt.register.queries.dump import dump_tables
from babbitt.register.records import corrections, engines, events, fitments, parts
from register_records import MAY, add_engine, add_run, an_event, an_exposure, days


def rows_of(register, name, **options):
    """Return the rows of a table, a dict each."""
    with register.reading() as session:
        (dump,) = (d for d in dump_tables(session, **options) if d.name == name)
    assert dump.columns == tuple(column.name for column in dictionary()[name].columns)
    return [dict(zip(dump.columns, row, strict=True)) for row in dump.rows]


@pytest.fixture
def filled(register):
    """A register of two engines with a run each, one event of each run."""
    add_engine(register)
    add_engine(register, "E-2")
    add_run(register, "r1", [an_event("r1")])
    add_run(register, "r2", [an_event("r2")], engine_id="E-2", at=MAY + days(1))
    return register


def test_an_event_says_when_it_began_and_whether_it_counts(filled):
    one, other = rows_of(filled, "event")
    assert one["at"] == MAY + timedelta(seconds=one["start_s"])
    assert (one["engine_id"], one["counts"], other["counts"]) == ("E-1", True, True)
    with filled.writing() as session:
        events.add_review(session, one["event_id"], "harmless")
        corrections.remove_run(session, "r2")
    assert [row["counts"] for row in rows_of(filled, "event")] == [False, False]


def test_what_was_withdrawn_is_there_with_its_time(filled):
    with filled.writing() as session:
        parts.add_part(session, "CR-1", "crankshaft")
        parts.withdraw_part(session, "CR-1")
        corrections.remove_run(session, "r1")
    (part,) = rows_of(filled, "part")
    assert part["withdrawn_at"] is not None
    assert [run["removed_at"] is None for run in rows_of(filled, "run")] == [False, True]


def test_running_by_speed_and_boost_adds_up_to_the_table_of_the_run(filled):
    table = an_exposure().table
    cells = [row for row in rows_of(filled, "running_table") if row["run_id"] == "r1"]
    assert sum(cell["running_s"] for cell in cells) == sum(map(sum, table.seconds))
    assert (cells[0]["rpm_from"], cells[0]["rpm_to"]) == table.rpm_edges[:2]
    assert (cells[0]["boost_from_kpa"], cells[0]["boost_to_kpa"]) == table.boost_edges_kpa[:2]


def test_of_one_engine_only_what_concerns_it(filled):
    with filled.writing() as session:
        for part_id, engine_id in (("CR-1", "E-1"), ("CR-2", "E-2")):
            parts.add_part(session, part_id, "crankshaft")
            fitments.fit_part(session, part_id, engine_id, at=MAY)
        fitments.remove_part(session, "CR-1", at=MAY + days(1))
        fitments.remove_part(session, "CR-2", at=MAY + days(1))
        fitments.fit_part(session, "CR-1", "E-2", at=MAY + days(2))
    for name in ("engine", "engine_spec", "run", "event", "exposure", "exposure_watch"):
        assert {row["engine_id"] for row in rows_of(filled, name, engine_id="E-1")} == {"E-1"}
    assert [row["part_id"] for row in rows_of(filled, "part", engine_id="E-1")] == ["CR-1"]
    elsewhere = [row["engine_id"] for row in rows_of(filled, "fitment", engine_id="E-1")]
    assert elsewhere == ["E-1", "E-2"]
    with pytest.raises(RegisterError, match="no engine 'E-9'"):
        rows_of(filled, "run", engine_id="E-9")


def test_the_journal_is_told_in_words_and_in_values(filled):
    with filled.writing("a person") as session:
        engines.set_built(session, "E-1", None, reason="nobody knows")
    act = rows_of(filled, "journal")[-1]
    assert (act["who"], act["reason"], act["engines"]) == ("a person", "nobody knows", ["E-1"])
    assert "engine E-1" in act["what"]
    change = rows_of(filled, "journal_change")[-1]
    assert (change["entry_id"], change["record"]) == (act["entry_id"], "engine")
    assert change["after"] == {"built_at": None}
