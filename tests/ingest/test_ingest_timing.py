import pytest

from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import find_dialect
from babbitt.ingest.text.headers import read_header
from babbitt.ingest.time.timing import ROW_NUMBERS, Timing, find_timing, start_noted, step_noted
from ingest_logs import csv_of, source_of


def dialect_of(headers: list[str], row: list[str], notes: str = ""):
    log = notes + csv_of(headers, [row] * 3)
    return find_dialect(read_text(source_of(log)), "a.csv")


def timing_of(headers: list[str], row: list[str], notes: str = "", **given: int) -> Timing:
    dialect = dialect_of(headers, row, notes)
    said = {index: name for name, index in given.items()}
    return find_timing(dialect, [read_header(header) for header in dialect.headers], said)


def test_first_time_column_is_the_time() -> None:
    assert timing_of(["rpm", "time", "UTC time"], ["1", "2", "3"]) == Timing(time=1)


def test_time_given_wins() -> None:
    assert timing_of(["time", "rpm", "x"], ["1", "2", "3"], time=2) == Timing(time=2)


def test_date_beside_a_clock_is_found_and_beside_whole_stamps_is_not() -> None:
    headers = ["Date", "Time", "RPM"]
    assert timing_of(headers, ["2026-05-16", "14:05:06", "1"]) == Timing(time=1, date=0)
    assert timing_of(headers, ["20260516", "14:05:06", "1"]) == Timing(time=1, date=0)
    assert timing_of(headers, ["2026-05-16", "2026-05-16 14:05:06", "1"]) == Timing(time=1)


def test_column_named_as_a_date_that_holds_none_is_no_date() -> None:
    assert timing_of(["Day", "Time", "RPM"], ["3", "0.5", "1"]) == Timing(time=1)


def test_column_named_as_a_date_may_hold_the_whole_stamp() -> None:
    assert timing_of(["Date", "RPM"], ["2026-05-16 14:05:06", "1"]) == Timing(time=0)


def test_samples_are_counted_where_a_note_says_how_fast() -> None:
    notes = "Rate,50 Hz\n"
    assert timing_of(["Sample", "RPM"], ["7", "1"], notes) == Timing(time=0, step_s=0.02)
    assert timing_of(["Boost", "RPM"], ["7", "1"], notes) == Timing(time=ROW_NUMBERS, step_s=0.02)
    assert timing_of(["Sample", "RPM"], ["7", "1"]) == Timing()
    assert timing_of(["Sample", "Time", "RPM"], ["7", "0.5", "1"], notes) == Timing(time=1)


@pytest.mark.parametrize(
    ("note", "step_s"),
    [
        ("Sample rate,100 Hz", 0.01),
        ("Sample rate (Hz),100", 0.01),
        ("Rate: 0.5 kHz", 0.002),
        ("Sampling frequency,50", 0.02),
        ("Sample interval,20 ms", 0.02),
        ("Interval [s],0.05", 0.05),
        ("Interval,20", None),
        ("Rate,fast", None),
        ("Rate,0 Hz", None),
        ("Sample rate,100 Hz\nInterval,20 ms", None),
        ("Sample rate,50 Hz\nInterval,20 ms", 0.02),
    ],
)
def test_rate_or_interval_is_read_from_the_notes(note: str, step_s: float | None) -> None:
    dialect = dialect_of(["Sample", "RPM"], ["7", "1"], f"{note}\n")
    assert step_noted(dialect.notes) == step_s


def test_channels_with_clocks_of_their_own_are_told_by_the_name_of_these() -> None:
    headers = ["Time [s]", "RPM", "Time [s]", "Boost", "Knock"]
    row = ["1", "2", "3", "4", "5"]
    assert timing_of(headers, row).clocks == {1: 0, 3: 2, 4: 2}
    assert timing_of(["t RPM", "RPM", "t Boost", "Boost"], row[:4]).clocks == {1: 0, 3: 2}
    assert timing_of(["RPM time", "RPM", "Boost time", "Boost"], row[:4]).clocks == {1: 0, 3: 2}


@pytest.mark.parametrize(
    "headers",
    [
        ["Time", "UTC time", "RPM", "Boost"],
        ["RPM", "Time", "Boost", "Time"],
        ["Time", "Time", "RPM", "Boost"],
        ["Time", "RPM", "Boost", "Time"],
    ],
)
def test_several_times_of_all_channels_are_no_clocks_of_their_own(headers: list[str]) -> None:
    timing = timing_of(headers, ["1", "2", "3", "4"])
    assert timing.clocks == {}
    assert timing.time == headers.index("Time")


def test_start_is_noted_by_notes_and_by_a_column_of_dates() -> None:
    log = ["Date", "Time [s]", "RPM"], ["16.05.2026", "0.5", "1"]
    alone = start_noted(dialect_of(*log), 0)
    assert alone is not None
    assert (alone.date, alone.clock_s, alone.line) == ("16.05.2026", None, 2)
    both = start_noted(dialect_of(*log, "Start time,14:00:00\n"), 0)
    assert both is not None
    assert (both.date, both.clock_s) == ("16.05.2026", 50_400.0)
    noted = start_noted(dialect_of(*log, "Date,2026-05-17\n"), 0)
    assert noted is not None
    assert noted.date == "2026-05-17"
    assert start_noted(dialect_of(["Time", "RPM"], ["1", "2"]), None) is None
