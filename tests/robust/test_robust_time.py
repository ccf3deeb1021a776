"""Clocks: the machine's set back or forward between commands, and the odd dates of loggers."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import jobs
import pytest
import telling

from babbitt.commands.totals import totals_of
from babbitt.ingest.correct import Correction
from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.move_runs import reread_run, undo
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.logbook.settings import Profile
from babbitt.register.records import builds, corrections, engines, events, runs
from invented import SPEC
from shop import write_minute

WHO = jobs.WHO
LOWER = SPEC.replace("redline_rpm = 7600", "redline_rpm = 7400")
TOKYO, LOS_ANGELES = ZoneInfo("Asia/Tokyo"), ZoneInfo("America/Los_Angeles")

SetClock = Callable[[timedelta], None]


class _LikeDatetime(type):
    def __instancecheck__(cls, value: object) -> bool:
        return isinstance(value, datetime)


@pytest.fixture
def set_clock(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Set the clock that the program reads forward or back, by how far it then is off."""

    def off_by(shift: timedelta) -> None:
        class Shifted(datetime, metaclass=_LikeDatetime):
            @classmethod
            def now(cls, tz: Any = None) -> datetime:
                return datetime.now(tz) + shift

        for name, module in list(sys.modules.items()):
            if name.startswith("babbitt") and hasattr(module, "datetime"):
                monkeypatch.setattr(module, "datetime", Shifted)

    return off_by


def book_of(folder: Path, **about: Any) -> Logbook:
    """Make a logbook with the engine E1."""
    folder.mkdir(exist_ok=True)
    book = create_logbook(folder / "book", settings_text())
    with book.register.writing(WHO) as session:
        engines.add_engine(session, "E1", SPEC, **about)
    return book


def take_in(book: Logbook, path: Path, start: str, **how: Any) -> Intake:
    """Write a log that began at `start`, and take it in."""
    log = write_minute(path, start=start, peak_rpm=8000.0)
    return ingest_log(book, log, Instructions(engine_id="E1", **how))


def work_with(folder: Path, at_half_time: Callable[[], None]) -> dict[str, Any]:
    """Do and undo a good deal, and return what the logbook tells then."""
    book = book_of(folder, built_at=jobs.BUILT)
    first = take_in(book, folder / "1.csv", "2026-05-01T10:00:00Z")
    with book.register.writing(WHO) as session:
        (event,) = events.list_events(session)
        events.add_review(session, event.event.event_id, "harmless", "seen")
        engines.set_spec(session, "E1", SPEC.replace("redline_rpm = 7600", "redline_rpm = 7000"))
        builds.add_refresh(session, "E1", datetime(2026, 5, 1, 9, tzinfo=UTC), "first")
    at_half_time()
    with book.register.writing(WHO) as session:
        events.add_review(session, event.event.event_id, "confirmed", "looked again")
        engines.set_spec(session, "E1", LOWER)
        corrections.remove_run(session, str(first.run_id), "by mistake")
    undo(book, reason="", who=WHO)
    take_in(book, folder / "2.csv", "2026-05-02T10:00:00Z")
    with book.register.writing(WHO) as session:
        builds.add_refresh(session, "E1", datetime(2026, 5, 2, 9, tzinfo=UTC), "second")
    judge_engine(book, "E1")
    with book.register.reading() as session:
        assert engines.spec_of(session, "E1").over_rev.redline_rpm == 7400
    assert verify(book).faults == ()
    book.register.close()
    return telling.tell(folder)


@pytest.mark.parametrize("days", [-0.05, -3.0, -4000.0, 4000.0])
def test_what_is_told_does_not_depend_on_the_machines_clock(
    days: float, set_clock: SetClock, tmp_path: Path
) -> None:
    steady = work_with(tmp_path / "steady", lambda: None)
    assert [each.rpartition(" ")[2] for each in steady["events"]] == ["confirmed", "None"]
    changed = work_with(tmp_path / "changed", lambda: set_clock(timedelta(days=days)))
    assert changed == steady


def test_a_log_whose_file_is_of_tomorrow_is_not_waited_for(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def wait(seconds: float) -> None:
        raise AssertionError(f"waits for {seconds} s")

    monkeypatch.setattr(time, "sleep", wait)
    log = write_minute(tmp_path / "1.csv", start="2026-05-01T10:00:00Z", peak_rpm=8000.0)
    log.write_bytes(log.read_bytes()[:-1])  # ends in the middle of a line
    tomorrow = time.time() + 86_400.0
    os.utime(log, (tomorrow, tomorrow))
    assert ingest_log(book_of(tmp_path), log, Instructions(engine_id="E1")).status == "ingested"


@pytest.mark.parametrize(
    ("start", "zone", "started"),
    [
        ("2028-02-29 23:59:30", UTC, datetime(2028, 2, 29, 23, 59, 30, tzinfo=UTC)),
        ("29.02.2028 08:00:00", TOKYO, datetime(2028, 2, 28, 23, tzinfo=UTC)),
        ("2000-02-29 12:00:00", UTC, datetime(2000, 2, 29, 12, tzinfo=UTC)),
    ],
)
def test_a_run_on_a_leap_day(start: str, zone: Any, started: datetime, tmp_path: Path) -> None:
    book = book_of(tmp_path)
    taken = take_in(book, tmp_path / "1.csv", start, zone=zone)
    with book.register.reading() as session:
        run = runs.find_run(session, str(taken.run_id))
        (event,) = events.list_events(session)
    assert (run.started_at, run.start_basis) == (started, "log")
    assert run.duration_s == pytest.approx(59.95)
    assert event.at > started


def test_a_29_february_of_a_common_year_is_no_date(tmp_path: Path) -> None:
    taken = take_in(book_of(tmp_path), tmp_path / "1.csv", "2027-02-29 12:00:00")
    assert "state the start to settle it" in taken.warnings[0]


def test_a_logger_that_lost_its_battery_is_told_and_put_right(tmp_path: Path) -> None:
    book = book_of(tmp_path)
    take_in(book, tmp_path / "1.csv", "2026-05-01T10:00:00Z")
    with book.register.writing(WHO) as session:
        builds.add_refresh(session, "E1", datetime(2026, 5, 2, tzinfo=UTC), "")
    lost = take_in(book, tmp_path / "2.csv", "2000-01-01T00:04:00Z")
    assert lost.status == "ingested"
    assert any("have lost their battery" in str(doubt) for doubt in lost.doubts)
    assert totals_of(book)[0].runs == 0
    started = Correction(started=datetime(2026, 5, 3, 10, tzinfo=UTC))
    reread_run(book, str(lost.run_id), started, reason="by the timing sheet", who=WHO)
    judge_engine(book, "E1")
    (totals,) = totals_of(book)
    assert totals.runs == 1
    assert [each.count for each in totals.events if each.kind == "over_rev"] == [1]


def test_an_engine_that_is_used_across_zones(tmp_path: Path) -> None:
    """By local clocks the second run begins on the day before the first; they do not overlap."""
    book = book_of(tmp_path)
    tokyo = Profile(timezone="Asia/Tokyo")
    first = take_in(book, tmp_path / "1.csv", "2026-05-03 10:00:00", profile=tokyo)
    second = take_in(book, tmp_path / "2.csv", "2026-05-02 20:00:00", zone=LOS_ANGELES)
    same = take_in(book, tmp_path / "3.csv", "2026-05-03 01:00:20", zone=UTC)
    assert (first.status, second.status, same.status) == ("ingested", "ingested", "refused")
    assert "overlaps" in str(same.error)
    with book.register.writing(WHO) as session:
        listed = [run.run_id for run in runs.list_runs(session)]
        builds.add_refresh(session, "E1", datetime(2026, 5, 3, 11, tzinfo=TOKYO), "")
    assert listed == [first.run_id, second.run_id]
    (totals,) = totals_of(book)
    assert (totals.runs, totals.first_run) == (1, datetime(2026, 5, 3, 3, tzinfo=UTC))


def test_a_logbook_whose_zone_is_changed_keeps_the_instants_of_its_runs(tmp_path: Path) -> None:
    book = book_of(tmp_path)
    take_in(book, tmp_path / "1.csv", "2026-10-25 02:30:00", zone=ZoneInfo("Europe/Berlin"))
    before = totals_of(book)
    book.register.close()
    settings = book.root / "logbook.toml"
    settings.write_text(settings_text(timezone="America/Los_Angeles"), encoding="utf-8")
    assert totals_of(open_logbook(book.root)) == before
