"""The page of a run by place: map or strip, harm on it, and the way to the events and back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.laps import FINDER, placed
from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.present.views.run_place import read_place
from babbitt.register.records import engines, events, layouts, runs
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import run, run_place
from invented import SPEC
from lap_logs import log_of_laps
from planted_circuits import CIRCUITS, Logged, drive


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("place")
    book = create_logbook(folder / "book", settings_text(timezone="UTC"))
    with book.register.writing("Ann") as session:
        engines.add_engine(session, "E1", SPEC)
    for day, circuit in ((1, "Old Quay"), (2, None)):
        log = log_of_laps(folder / f"{day}.csv", day, seed=day)
        ingest_log(book, log, Instructions(engine_id="E1", circuit=circuit))
    return book.root


@pytest.fixture
def desk(made: Path) -> Desk:
    return Desk(open_logbook(made), lambda: datetime(2026, 6, 1, tzinfo=UTC), "Bob")


def run_at(book: Logbook, circuit: str | None) -> str:
    with book.register.reading() as session:
        return next(each.run_id for each in runs.list_runs(session) if each.circuit == circuit)


def test_the_page_says_the_corner_first_and_leads_to_the_events(desk: Desk) -> None:
    run_id = run_at(desk.book, "Old Quay")
    said = str(run_place.layout(desk, run_id).to_plotly_json())
    assert "Over-rev: corner 2 in 4 of 4 laps." in said
    assert "4 whole laps, the best 1:0" in said
    with desk.book.register.reading() as session:
        found = events.list_events(session, run_id=run_id)
    for each in found:
        assert f"/run/{run_id}?event={each.event.event_id}" in said


def test_the_run_leads_to_its_places(desk: Desk) -> None:
    run_id = run_at(desk.book, "Old Quay")
    said = str(run.layout(desk, run_id).to_plotly_json())
    assert f"/place/{run_id}" in said
    assert "Over-rev: corner 2 in 4 of 4 laps." in said


def test_a_run_with_speed_has_a_map_whose_closing_error_is_said(desk: Desk) -> None:
    run_id = run_at(desk.book, "Old Quay")
    planted = drive(
        CIRCUITS[0], 4, Logged(channels=("lateral_g", "speed")), np.random.default_rng(1)
    )
    layout = find_layout(motion_of([planted.run]))
    assert layout is not None
    with desk.book.register.writing("Ann") as session:
        before = layouts.layout_of(session, run_id)
        layouts.save_layout(session, run_id, layouts.layout_key(FINDER, "Old Quay"), layout)
    place = read_place(desk.book, run_id)
    assert place is not None
    assert "its ends missed one another by" in place.map_says()
    assert "% of the lap" in place.map_says()
    drawn = str(run_place.layout(desk, run_id).to_plotly_json())
    assert "The lap as one line" in drawn
    with desk.book.register.writing("Ann") as session:
        layouts.save_layout(session, run_id, layouts.layout_key(FINDER, "Old Quay"), before)


def test_events_outside_of_laps_have_no_place() -> None:
    planted = drive(CIRCUITS[0], 4, Logged(), np.random.default_rng(1))
    layout = find_layout(motion_of([planted.run]))
    assert layout is not None
    assert layout.place_of(1.0, 2.0) == (None, None)
    assert placed((), layout) == ()
