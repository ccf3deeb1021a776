"""What the record foretells is worked out once, and anew as soon as anything in it changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from babbitt.detect.pressure import PressureSurface
from babbitt.errors import LogbookError
from babbitt.jobs.outlook import outlooks
from babbitt.logbook.folder import Logbook
from babbitt.model.finding import Finding
from babbitt.model.records import SurfaceRecord
from babbitt.present.views.foresight import Foreseen, Foresight
from babbitt.register import Session
from babbitt.register.journal.undo import undo
from babbitt.register.records import builds, corrections, engines, events, runs, teardowns
from engine_book import NOW, REFRESHED, TOML, add_run


def told(foreseen: Foreseen) -> list[object]:
    """All that a page may show of what is foretold."""
    return [
        (
            name,
            foreseen.totals[name],
            outlook.verdict.call,
            outlook.verdict.grounds,
            [(mode.mode.name, mode.now, mode.next, mode.develops) for mode in outlook.modes],
            outlook.drift,
            outlook.gaps,
        )
        for name in foreseen.known
        for outlook in [foreseen.outlook(name, 2)]
    ]


def test_nothing_is_worked_out_twice_while_nothing_changes(engine_book: Logbook) -> None:
    foresight = Foresight(engine_book)
    first = foresight.at(NOW)
    assert foresight.at(NOW + timedelta(hours=1)) is first
    assert first.outlook("E1", 3) is first.outlook("E1", 3)


def test_it_is_what_the_command_line_says(engine_book: Logbook) -> None:
    foreseen = Foresight(engine_book).at(NOW)
    with pytest.raises(LogbookError, match="missing"):
        outlooks(
            engine_book, runs=2, at=NOW
        )  # which names the events too, whose runs have no file here
    assert foreseen.outlook("E1", 2).verdict.call == "pull"
    for name in ("E2", "E3"):
        (alone,) = outlooks(engine_book, name, runs=2, at=NOW).engines
        here = foreseen.outlook(name, 2)
        assert (alone.verdict.call, alone.gaps) == (here.verdict.call, here.gaps)
        assert [mode.next for mode in alone.modes] == [mode.next for mode in here.modes]


def a_run(session: Session) -> None:
    add_run(session, "E1", NOW - timedelta(days=1), doses=(90.0,))


def a_review(session: Session) -> None:
    worst = events.list_events(session, engine_id="E1")[0]
    events.add_review(session, worst.event.event_id, "sensor_fault")


def a_removed_run(session: Session) -> None:
    corrections.remove_run(session, runs.list_runs(session, engine_id="E1")[0].run_id)


def a_refresh(session: Session) -> None:
    builds.add_refresh(session, "E1", NOW - timedelta(days=10))


def other_limits(session: Session) -> None:
    engines.set_spec(session, "E1", TOML.replace("= 100.0", "= 50.0"))


def another_judgement(session: Session) -> None:
    run = runs.list_runs(session, engine_id="E1")[0]
    events.replace_events(session, run.run_id, [], judged_by="other limits")


def another_surface(session: Session) -> None:
    build = builds.builds_of(session, "E1")[-1]
    record = builds.surface_of(session, build)
    assert record is not None
    surface = PressureSurface.from_json(record.text)
    bent = replace(surface, kpa=surface.kpa * np.linspace(1.0, 1.1, len(surface.rpm))[:, None])
    builds.save_surface(session, build, SurfaceRecord(bent.to_json(), bent.key))


def a_teardown(session: Session) -> None:
    found = Finding("rod_bearing", None, "wiped", 3, None, "replace")
    teardowns.record_teardown(session, "E2", NOW - timedelta(days=1), [found])


def running_by_hand(session: Session) -> None:
    corrections.add_unlogged(session, "E1", minutes=30, at=NOW - timedelta(days=2))


def a_new_engine(session: Session) -> None:
    engines.add_engine(session, "E4", TOML, built_at=REFRESHED)


@pytest.mark.parametrize(
    "change",
    [
        a_run,
        a_review,
        a_removed_run,
        a_refresh,
        other_limits,
        another_judgement,
        another_surface,
        a_teardown,
        running_by_hand,
        a_new_engine,
    ],
)
def test_a_change_shows_at_once(engine_book: Logbook, change: Callable[[Session], None]) -> None:
    foresight = Foresight(engine_book)
    before = foresight.at(NOW)
    with engine_book.register.writing("Ann") as session:
        change(session)
    after = foresight.at(NOW)
    assert after is not before
    assert told(after) == told(Foresight(engine_book).at(NOW))
    assert told(after) != told(before)


def test_what_is_undone_is_undone_here_too(engine_book: Logbook) -> None:
    foresight = Foresight(engine_book)
    before = told(foresight.at(NOW))
    with engine_book.register.writing("Ann") as session:
        a_review(session)
    assert told(foresight.at(NOW)) != before
    with engine_book.register.writing("Ann") as session:
        undo(session)
    assert told(foresight.at(NOW)) == before


def test_a_record_dated_ahead_counts_from_then_on(engine_book: Logbook) -> None:
    foresight = Foresight(engine_book)
    with engine_book.register.writing("Ann") as session:
        builds.add_refresh(session, "E1", NOW + timedelta(minutes=5))
    before = foresight.at(NOW)
    assert foresight.at(NOW + timedelta(minutes=4)) is before
    after = foresight.at(NOW + timedelta(minutes=6))
    assert before.totals["E1"].runs == 6
    assert after.totals["E1"].runs == 0


def test_another_day_is_looked_at_anew(engine_book: Logbook) -> None:
    foresight = Foresight(engine_book)
    assert foresight.at(NOW + timedelta(days=1)) is not foresight.at(NOW)


def test_an_outlook_at_a_circuit_is_kept_too_and_a_corrected_circuit_is_seen(
    engine_book: Logbook,
) -> None:
    foresight = Foresight(engine_book)
    with engine_book.register.writing("Ann") as session:
        ids = [each.run_id for each in runs.list_runs(session, engine_id="E1")]
        corrections.set_circuit(session, ids[:4], "Tollbar")
    first = foresight.at(NOW)
    there = first.outlook("E1", 2, "tollbar")
    assert there is first.outlook("E1", 2, "Tollbar")
    assert there is not first.outlook("E1", 2)
    assert there.pool.runs == 4
    with engine_book.register.writing("Ann") as session:
        corrections.amend_run(session, ids[4], circuit="Tollbar")
    assert foresight.at(NOW).outlook("E1", 2, "Tollbar").pool.runs == 5
