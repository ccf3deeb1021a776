"""Laps are found as logs are taken in, kept, and found again where what they rest on changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.register.journal.undo import undo
from babbitt.register.records import corrections, engines, events, layouts
from invented import SPEC
from lap_logs import log_of_laps


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    made = create_logbook(tmp_path / "book", settings_text(timezone="UTC"))
    with made.register.writing("Ann") as session:
        engines.add_engine(session, "E1", SPEC)
    return made


def take_in(book: Logbook, log: Path, circuit: str | None = "Old Quay") -> str:
    intake = ingest_log(book, log, Instructions(engine_id="E1", circuit=circuit))
    assert intake.run_id is not None, intake.error
    return intake.run_id


def layout_in(book: Logbook, run_id: str):
    with book.register.reading() as session:
        return layouts.layout_of(session, run_id)


def test_events_of_a_log_have_their_lap_and_corner(book: Logbook, tmp_path: Path) -> None:
    run_id = take_in(book, log_of_laps(tmp_path / "a.csv", 1))
    layout = layout_in(book, run_id)
    with book.register.reading() as session:
        found = [each.event for each in events.list_events(session, kind="over_rev")]
    assert layout is not None
    whole = {lap.number for lap in layout.whole_laps}
    inside = [event for event in found if event.lap in whole]
    assert len(inside) == len(whole) >= 4
    assert len({event.corner for event in inside} - {None}) == 1
    assert [event.lap for event in inside] == sorted(whole)


def test_a_second_run_has_the_corners_of_the_first(book: Logbook, tmp_path: Path) -> None:
    take_in(book, log_of_laps(tmp_path / "a.csv", 1))
    second = take_in(book, log_of_laps(tmp_path / "b.csv", 2, seed=7), "OLD quay")
    layout = layout_in(book, second)
    assert layout is not None
    assert layout.known_course
    with book.register.reading() as session:
        found = events.list_events(session, kind="over_rev")
    assert len({each.event.corner for each in found} - {None}) == 1


def test_moving_a_run_to_another_circuit_finds_its_laps_anew(book: Logbook, tmp_path: Path) -> None:
    run_id = take_in(book, log_of_laps(tmp_path / "a.csv", 1))
    before = layout_in(book, run_id)
    with book.register.writing("Ann") as session:
        corrections.amend_run(session, run_id, circuit="Elsewhere")
    judge_engine(book, "E1")
    with book.register.reading() as session:
        assert layouts.course_at(session, "Old Quay") is None
        assert layouts.course_at(session, "Elsewhere") == before


def test_a_log_without_laps_has_none_and_is_not_asked_again(book: Logbook, tmp_path: Path) -> None:
    log = tmp_path / "rolls.csv"
    rows = [f"{i / 10:.1f},{3000 + i % 7}" for i in range(900)]
    head = ["Date: 2026-05-01", "Start: 10:00:00", "", "Time [s],RPM"]
    log.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    run_id = take_in(book, log, None)
    assert layout_in(book, run_id) is None
    with book.register.reading() as session:
        assert layouts.runs_to_lap(session, "E1", "1") == ()


def test_corners_are_named_and_unnamed(book: Logbook, tmp_path: Path) -> None:
    take_in(book, log_of_laps(tmp_path / "a.csv", 1))
    with book.register.writing("Ann") as session:
        layouts.name_corner(session, "old quay", 2, "Chapel")
        layouts.name_corner(session, "Old Quay", 2, "the Chapel")
        assert layouts.corner_names(session, "OLD QUAY") == {2: "the Chapel"}
    with book.register.writing("Ann") as session:
        undo(session)
    with book.register.writing("Ann") as session:
        assert layouts.corner_names(session, "Old Quay") in ({2: "Chapel"}, {})
        layouts.name_corner(session, "Old Quay", 2, " ")
        assert layouts.corner_names(session, "Old Quay") == {}
        with pytest.raises(RegisterError, match="has no corner 40: it has corners 1 to"):
            layouts.name_corner(session, "Old Quay", 40, "Nowhere")
        with pytest.raises(RegisterError, match="No run with laps was at Elsewhere"):
            layouts.name_corner(session, "Elsewhere", 1, "Nowhere")
