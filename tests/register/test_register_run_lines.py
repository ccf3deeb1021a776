from dataclasses import asdict

import pytest

from babbitt.errors import RegisterError
from babbitt.model.kinds import KINDS
from babbitt.register.queries import run_lines
from babbitt.register.records import corrections, events
from register_records import MAY, add_engine, add_run, an_event, an_exposure, days, read, write


def lines(register, **only):
    return read(register, run_lines.run_lines, limit=only.pop("limit", 10), **only)


def ids(register, **only):
    return [line.run_id for line in lines(register, **only).lines]


def test_runs_come_newest_first_with_their_events_by_kind(with_engine):
    found = [
        an_event(peak=7800.0),
        an_event(peak_s=201.0, start_s=200.0, end_s=202.0, peak=7900.0),
        an_event(kind="oil_starvation", peak=120.0),
        an_event(kind="oil_starvation", peak_s=301.0, start_s=300.0, end_s=302.0, peak=90.0),
    ]
    add_run(with_engine, "r1", found)
    add_run(with_engine, "r2", at=MAY + days(1), exposure=an_exposure(watched_s={"over_rev": 9.0}))
    result = lines(with_engine)
    assert [line.run_id for line in result.lines] == ["r2", "r1"]
    assert result.found == 2
    assert result.lines[0].kinds == ()
    assert "over_rev" not in result.lines[0].blind
    assert len(result.lines[0].blind) == len(KINDS) - 1
    over_rev, starvation = result.lines[1].kinds
    assert (over_rev.count, over_rev.worst, over_rev.to_review) == (2, 7900.0, 2)
    assert (starvation.count, starvation.worst, starvation.unit) == (2, 90.0, "kPa")
    assert result.lines[1].blind == ()
    assert result.lines[1].peak_rpm == 7700.0


def test_events_set_aside_are_counted_apart(with_engine):
    spared = an_event(peak_s=201.0, start_s=200.0, end_s=202.0, peak=8200.0)
    add_run(with_engine, "r1", [an_event(), spared])
    write(with_engine, events.add_review, spared.event_id, "sensor_fault")
    (kind,) = lines(with_engine).lines[0].kinds
    assert asdict(kind) == {
        "kind": "over_rev",
        "count": 1,
        "worst": 7800.0,
        "unit": "1/min",
        "set_aside": 1,
        "to_review": 1,
    }


def test_only_runs_with_harm_or_with_events_to_review(with_engine):
    add_run(with_engine, "r0")
    add_run(with_engine, "r1", [an_event()], at=MAY + days(1))
    confirmed, harmless = an_event("r2"), an_event("r3")
    add_run(with_engine, "r2", [confirmed], at=MAY + days(2))
    add_run(with_engine, "r3", [harmless], at=MAY + days(3))
    write(with_engine, events.add_review, confirmed.event_id, "confirmed")
    write(with_engine, events.add_review, harmless.event_id, "harmless")
    assert ids(with_engine, only="harm") == ["r2", "r1"]
    assert ids(with_engine, only="to_review") == ["r1"]
    assert lines(with_engine, only="harm").found == 2


def test_engine_window_and_page_narrow_the_list(with_engine):
    add_engine(with_engine, "E-2")
    for n in range(5):
        add_run(with_engine, f"r{n}", at=MAY + days(n))
    add_run(with_engine, "other", engine_id="E-2")
    assert ids(with_engine, engine_id="E-2") == ["other"]
    assert ids(with_engine, engine_id="E-1", limit=2, offset=2) == ["r2", "r1"]
    assert ids(with_engine, since=MAY + days(1), until=MAY + days(3)) == ["r2", "r1"]
    assert lines(with_engine, engine_id="E-1", limit=1).found == 5
    assert read(with_engine, run_lines.engines_with_runs) == ("E-1", "E-2")
    with pytest.raises(RegisterError, match="no engine"):
        lines(with_engine, engine_id="E-9")


def test_removed_runs_are_out_and_unlogged_running_is_in(with_engine):
    add_run(with_engine)
    write(with_engine, corrections.remove_run, "r1")
    record = write(with_engine, corrections.add_unlogged, "E-1", minutes=5, at=MAY + days(1))
    (line,) = lines(with_engine).lines
    assert (line.run_id, line.unlogged, line.blind, line.peak_rpm) == (
        record.run_id,
        True,
        (),
        None,
    )


def test_a_long_list_takes_no_more_queries(with_engine, count_queries):
    for n in range(30):
        add_run(with_engine, f"r{n:02d}", [an_event(f"r{n:02d}")], at=MAY + days(n))
    with count_queries() as sent:
        assert len(lines(with_engine, limit=25).lines) == 25
    assert len(sent) == 4


def test_a_run_has_neighbours_of_its_own_engine(with_engine):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "a")
    add_run(with_engine, "b", basis="file")
    add_run(with_engine, "c", at=MAY + days(1))
    add_run(with_engine, "x", engine_id="E-2")

    def beside(run_id, at=MAY):
        return read(with_engine, run_lines.neighbours, "E-1", at, run_id)

    assert beside("a") == (None, "b")
    assert beside("b") == ("a", "c")
    assert beside("c", MAY + days(1)) == ("b", None)
