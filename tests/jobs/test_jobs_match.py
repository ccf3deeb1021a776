"""The match of a teardown, from the record."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from babbitt.errors import LogbookError, RegisterError
from babbitt.jobs.attribute import match_teardown
from babbitt.register.records import engines, teardowns
from babbitt.register.records.fitments import fit_part
from babbitt.register.records.parts import add_part
from invented import SPEC
from small_book import BUILT, REFRESHED, TAKEN_APART, add_run, finding, make_book


@pytest.fixture
def book(tmp_path: Path):
    return make_book(tmp_path / "book")


def test_damage_is_explained_by_the_events_of_its_own_build(book) -> None:
    found = match_teardown(book, "E1")
    assert found.teardown.at == TAKEN_APART
    (match,) = found.matches
    first = match.blames[0]
    assert first.cause == "oil_starvation"
    assert first.share.p > 0.5
    assert len(first.events) == 7, "those before the refresh"
    assert all(each.dated.run_started_at < REFRESHED for each in first.events)
    assert (match.looks, match.damaged) == (2, 1)


def test_the_engine_speed_at_the_worst_event_is_read_from_its_run(book) -> None:
    found = match_teardown(book, "E1")
    worst = found.matches[0].blames[0].events[0].dated.event.event_id
    assert found.rpm_at == {worst: pytest.approx(6000.0)}


def test_a_sound_engine_has_nothing_to_explain(book) -> None:
    found = match_teardown(book, "E2")
    assert found.matches == ()
    assert found.look_again == ()


def test_parts_that_nobody_looked_at_after_heavy_running_are_suspected(book) -> None:
    found = match_teardown(book, "E1")
    suspects = {each.mode.part: each.looked_at for each in found.look_again}
    assert suspects["main_bearing"] is False
    assert "rod_bearing" not in suspects, "its damage was found"
    assert "rod" not in suspects, "it was found sound, and starvation does not harm it"


def test_a_mode_without_a_life_dose_is_said_not_to_be_judged(book) -> None:
    with book.register.writing("Ann") as session:
        engines.set_spec(session, "E1", SPEC + "[life]\nover_rev = 100.0\n")
    found = match_teardown(book, "E1")
    assert found.matches == ()
    assert [each.finding.damage_mode for each in found.unjudged] == ["wiped"]


def test_an_older_teardown_can_be_asked_for(book) -> None:
    later = REFRESHED + timedelta(days=15)
    with book.register.writing("Ann") as session:
        teardowns.record_teardown(session, "E1", later, [finding("worn", 2, position="2")])
    assert match_teardown(book, "E1").teardown.at == later
    assert match_teardown(book, "E1", at=later - timedelta(days=1)).teardown.at == TAKEN_APART


def test_an_engine_that_was_never_taken_apart_is_told_so(book) -> None:
    with pytest.raises(RegisterError, match=r"No teardown of E1 is recorded by then"):
        match_teardown(book, "E1", at=BUILT)
    with pytest.raises(RegisterError, match=r"There is no engine 'E3'"):
        match_teardown(book, "E3")


def test_a_part_brings_what_it_ran_in_another_engine(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    with book.register.writing("Ann") as session:
        add_part(session, "TB", "turbo_bearing")
        swap = BUILT + timedelta(days=20)
        fit_part(session, "TB", "E1", at=BUILT, position="turbine", until=swap)
        fit_part(session, "TB", "E2", at=swap, position="turbine")
        record = teardowns.teardowns_of(session, "E2")[0]
        bad = finding("worn", 3, part="turbo_bearing", position="turbine")
        teardowns.add_findings(session, record.teardown_id, [bad])
    (match,) = match_teardown(book, "E2").matches
    events = match.blames[0].events
    assert {each.dated.event.engine_id for each in events} == {"E1", "E2"}
    assert len(events) == 7


def test_a_run_whose_events_are_gone_from_disk_is_named(book) -> None:
    add_run(book, "E1", BUILT + timedelta(days=25, hours=1), 500.0)
    worst = next(book.root.glob("runs/engine=E1/E1-0126*"))
    worst.unlink()
    with pytest.raises(LogbookError, match="is missing"):
        match_teardown(book, "E1")
