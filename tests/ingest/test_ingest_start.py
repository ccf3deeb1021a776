from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from babbitt.logbook.settings import Profile
from ingest_logs import MODIFIED, csv_of, ramp, read, refused

BERLIN = ZoneInfo("Europe/Berlin")
ROWS = csv_of(["time", "rpm"], ramp())
CLOCK_ROWS = csv_of(["time", "rpm"], [("14:05:06.0", 2000), ("14:05:06.5", 2010)])


def test_stated_start_wins_over_the_log() -> None:
    started = datetime(2026, 1, 2, 3, 4, tzinfo=UTC)
    run = read("Date,2026-05-16\nTime,14:05:06\n" + ROWS, started=started)
    assert (run.info.started_at, run.info.start_basis) == (started, "stated")


def test_stated_start_without_zone_is_by_the_clock_of_the_logbook() -> None:
    run = read(ROWS, started=datetime.fromisoformat("2026-07-01T12:00"), zone=BERLIN)
    assert run.info.started_at == datetime(2026, 7, 1, 10, tzinfo=UTC)


def test_stamps_with_zone_need_nothing_else() -> None:
    rows = [("2026-07-01T12:00:00+02:00", 2000), ("2026-07-01T12:00:01+02:00", 2010)]
    run = read(csv_of(["time", "rpm"], rows), zone=timezone(timedelta(hours=-8)))
    assert run.info.started_at == datetime(2026, 7, 1, 10, tzinfo=UTC)
    assert run.info.start_basis == "log"
    assert not any("Zone" in line for line in run.info.dialect)


def test_stamps_without_zone_take_the_logbooks_and_say_so() -> None:
    rows = [("2026-07-01T12:00:00", 2000), ("2026-07-01T12:00:01", 2010)]
    run = read(csv_of(["time", "rpm"], rows), zone=BERLIN)
    assert run.info.started_at == datetime(2026, 7, 1, 10, tzinfo=UTC)
    assert "Zone: none named; the clock is taken to be that of Europe/Berlin." in run.info.dialect


def test_zone_of_the_profile_comes_before_the_logbooks() -> None:
    rows = [("2026-07-01T12:00:00", 2000), ("2026-07-01T12:00:01", 2010)]
    profile = Profile(timezone="America/New_York")
    run = read(csv_of(["time", "rpm"], rows), zone=BERLIN, profile=profile)
    assert run.info.started_at == datetime(2026, 7, 1, 16, tzinfo=UTC)


@pytest.mark.parametrize(
    "notes",
    [
        "Date,2026-05-16\nTime,14:05:06\n",
        "Recorded,2026-05-16 14:05:06\n",
        "# Start: 16 May 2026 14:05:06\n",
        '"Session start","2026-05-16T14:05:06Z"\n',
    ],
)
def test_start_is_found_in_the_notes(notes: str) -> None:
    run = read(notes + ROWS)
    assert run.info.started_at == datetime(2026, 5, 16, 14, 5, 6, tzinfo=UTC)
    assert run.info.start_basis == "log"
    assert any("by line 1" in line for line in run.info.dialect)


def test_clock_times_take_the_date_of_the_notes() -> None:
    run = read("Date,2026-04-30\n" + CLOCK_ROWS)
    assert run.info.started_at == datetime(2026, 4, 30, 14, 5, 6, tzinfo=UTC)
    assert run.info.start_basis == "log"


def test_clock_times_without_a_date_take_the_files_with_a_warning() -> None:
    run = read(CLOCK_ROWS)
    assert run.info.started_at == datetime(2026, 5, 16, 14, 5, 6, tzinfo=UTC)
    assert run.info.start_basis == "file"
    assert run.info.warnings[0] == (
        "The log names no date; the file's own (2026-05-16) was taken: state the start "
        "to settle it."
    )


def test_clock_time_later_than_the_file_belongs_to_the_day_before() -> None:
    run = read(CLOCK_ROWS, modified_at=datetime(2026, 5, 16, 0, 10, tzinfo=UTC))
    assert run.info.started_at == datetime(2026, 5, 15, 14, 5, 6, tzinfo=UTC)


def test_log_that_names_no_start_takes_the_files_time_with_a_warning() -> None:
    run = read(ROWS)
    assert (run.info.started_at, run.info.start_basis) == (MODIFIED, "file")
    assert run.info.warnings[0] == (
        "The log names no start; the file's own date (2026-05-16 18:30, UTC) was taken: state "
        "the start to settle it."
    )


def test_date_without_time_of_day_takes_the_files_time_on_that_day() -> None:
    run = read("Date,2026-05-16\n" + ROWS)
    assert (run.info.started_at, run.info.start_basis) == (MODIFIED, "file")
    assert "names no time of day" in run.info.warnings[0]


def test_date_without_time_of_day_takes_midnight_on_another_day() -> None:
    run = read("Date,2026-05-10\n" + ROWS)
    assert run.info.started_at == datetime(2026, 5, 10, tzinfo=UTC)
    assert "midnight was taken" in run.info.warnings[0]


def test_ambiguous_date_in_a_note_is_refused_with_both_readings() -> None:
    log = "Driver,A\nDate,04/03/2026\nTime,14:05:06\n" + ROWS
    error = refused(log)
    for said in ("'04/03/2026' in line 2", "4 March 2026", "3 April 2026", "state the start"):
        assert said in str(error)
    settled = read(log, profile=Profile(dates="month-first"))
    assert settled.info.started_at == datetime(2026, 4, 3, 14, 5, 6, tzinfo=UTC)
    assert read(log, started=MODIFIED).info.started_at == MODIFIED


def test_start_in_the_hour_that_comes_twice_is_read_as_the_first_and_said() -> None:
    rows = [("2026-10-25 02:30:00", 2000), ("2026-10-25 02:30:01", 2010)]
    run = read(csv_of(["time", "rpm"], rows), zone=BERLIN)
    assert run.info.started_at == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert (
        "Clocks in Europe/Berlin were changed in the hour of the start (02:30)"
        in (run.info.warnings[0])
    )


def test_start_in_the_hour_that_is_left_out_is_read_as_if_clocks_had_stayed() -> None:
    rows = [("2026-03-29 02:30:00", 2000), ("2026-03-29 02:30:01", 2010)]
    run = read(csv_of(["time", "rpm"], rows), zone=BERLIN)
    assert run.info.started_at == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    assert "01:30 UTC" in run.info.warnings[0]
