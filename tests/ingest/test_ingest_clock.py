from datetime import UTC, date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from babbitt.errors import Remedy
from ingest_logs import csv_of, ramp, read, refused

BERLIN = ZoneInfo("Europe/Berlin")


def stamped(*stamps: str, header: str = "time") -> str:
    return csv_of([header, "rpm"], [(stamp, 2000 + 9 * i) for i, stamp in enumerate(stamps)])


@pytest.mark.parametrize(
    ("header", "times"),
    [
        ("Time (s)", ["10.0", "10.1", "10.25"]),
        ("time [ms]", ["10000", "10100", "10250"]),
        ("time_us", ["10000000", "10100000", "10250000"]),
        ("elapsed (min)", ["0.166666666667", "0.168333333333", "0.170833333333"]),
        ("time", ["10.0", "10.1", "10.25"]),
    ],
)
def test_numbers_are_seconds_from_the_first_by_their_unit(header: str, times: list[str]) -> None:
    run = read(stamped(*times, header=header))
    np.testing.assert_allclose(run.time_s, [0.0, 0.1, 0.25], atol=1e-9)


def test_unit_of_time_may_stand_in_a_units_row_or_be_given() -> None:
    log = "time,rpm\nms,1/min\n0,1000\n20,1010\n40,1020\n"
    assert read(log).time_s.tolist() == [0.0, 0.02, 0.04]
    assert read(stamped("0", "20", "40"), units={"time": "ms"}).time_s.tolist() == [0, 0.02, 0.04]
    assert read(stamped("0", "20", "40"), units={"time": "s"}).time_s.tolist() == [0, 20, 40]


@pytest.mark.parametrize("times", [("0", "20", "40"), ("0", "1", "2"), ("0", "0.0001", "0.0002")])
def test_time_without_unit_that_may_be_either_is_refused(times: tuple[str, ...]) -> None:
    error = refused(stamped(*times))
    assert "may be milliseconds or seconds" in str(error)
    assert "may be milliseconds or seconds" in str(error)
    assert error.remedies == (Remedy("unit", "time", "ms"), Remedy("unit", "time", "s"))


def test_bare_decimal_seconds_are_said_to_be_taken_as_such() -> None:
    assert any(
        "0.02 are seconds" in line for line in read(stamped("0", "0.02", "0.04")).info.dialect
    )


@pytest.mark.parametrize(
    ("stamps", "seconds"),
    [
        (("14:05:06.0", "14:05:06.5", "14:05:07"), [0.0, 0.5, 1.0]),
        (("9:59:59,900", "10:00:00,000", "10:00:00,100"), [0.0, 0.1, 0.2]),
        (("23:59:59.9", "00:00:00.0", "00:00:00.1"), [0.0, 0.1, 0.2]),
        (("00:00:00.0", "00:00:00.1", "00:00:00.3"), [0.0, 0.1, 0.3]),
        (("00:00.0", "00:00.1", "01:00.3"), [0.0, 0.1, 60.3]),
        (("2026-05-16T14:05:06", "2026-05-16T14:05:06.5", "2026-05-16T14:05:07.1"), [0, 0.5, 1.1]),
        (("2026-05-16 23:59:59.9Z", "2026-05-17 00:00:00.1Z"), [0.0, 0.2]),
        (("2026-05-16T14:05:06+02:00", "2026-05-16T12:05:06.5+00:00"), [0.0, 0.5]),
        (("16.05.2026 14:05:06", "16.05.2026 14:05:06.5"), [0.0, 0.5]),
    ],
    ids=["clock", "comma", "midnight", "elapsed", "mm:ss", "iso", "isoZ", "offsets", "dotted"],
)
def test_clock_times_become_seconds(stamps: tuple[str, ...], seconds: list[float]) -> None:
    log = csv_of(["time", "rpm"], [(s, 2000 + 9 * i) for i, s in enumerate(stamps)], ";")
    np.testing.assert_allclose(read(log).time_s, seconds, atol=1e-6)


def test_run_over_two_midnights_goes_on() -> None:
    hours = [f"{(20 + i) % 24:02d}:00:00" for i in range(40)]
    assert read(stamped(*hours)).time_s.tolist() == [3600.0 * i for i in range(40)]


def test_time_running_backwards_is_refused_with_the_line() -> None:
    rows = [*ramp(30), ("1.25", 2500), *[(f"{3 + i / 10:.1f}", 2600 + i) for i in range(5)]]
    error = refused("note\n" + csv_of(["time", "rpm"], rows))
    assert "time runs backwards in line 33, by 1.65 s" in str(error)
    assert "cut the file there" in str(error)


def test_clock_running_backwards_by_less_than_half_a_day_is_refused() -> None:
    error = refused(stamped("14:05:06", "14:05:07", "13:05:08"))
    assert "time runs backwards in line 4, by 3599 s" in str(error)


def test_rows_without_a_time_are_left_out_and_told() -> None:
    rows = [*ramp(10), ("", 1), *[(f"{1 + i / 10:.1f}", 2600 + i) for i in range(5)]]
    run = read(csv_of(["time", "rpm"], rows))
    assert len(run.time_s) == 15
    assert "Left out: 1 row without a time that can be read (the first in line 12)." in (
        run.info.warnings
    )


@pytest.mark.parametrize("year", ["0000", "0001", "9999"])
def test_year_that_is_none_of_a_log_cannot_be_read(year: str) -> None:
    stamps = [f"{year}-05-16T14:05:0{i}" for i in range(4)]
    assert "4 of 4 rows have no time that can be read" in str(refused(stamped(*stamps)))


@pytest.mark.parametrize("bad", ["noon", "14.05.06", "2:05 PM"])
def test_time_that_cannot_be_read_is_refused_with_the_line(bad: str) -> None:
    error = refused(stamped("14:05:06", bad, "14:05:07", bad, "14:05:08"))
    assert "2 of 5 rows have no time that can be read in column 'time'" in str(error)
    assert "the first in line 3" in str(error)


@pytest.mark.parametrize(
    "rows", [[("0", 1000)], [("0.5", 1000), ("", 1010)], [("0.5", 1000), ("0.5", 1010)]]
)
def test_fewer_than_two_samples_are_refused(rows: list[tuple[str, int]]) -> None:
    assert "fewer than two samples" in str(refused(csv_of(["time", "rpm"], rows)))


def test_ambiguous_dates_are_refused_with_both_readings_and_the_way_out() -> None:
    log = "note\n" + stamped("04/03/2026 14:05:06", "04/03/2026 14:05:07")
    error = refused(log)
    for said in ("'04/03/2026' in line 3", "4 March 2026", "3 April 2026", "state the start"):
        assert said in str(error)
    assert [each.value for each in error.remedies] == ["day-first", "month-first"]


def test_ambiguous_date_does_not_matter_once_the_start_is_stated() -> None:
    from datetime import datetime

    log = stamped("04/03/2026 14:05:06", "04/03/2026 14:05:07")
    run = read(log, started=datetime(2026, 3, 4, 14, 5, 6, tzinfo=UTC))
    assert run.time_s.tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    ("stamps", "seconds"),
    [
        (("2026-03-29 01:59:59", "2026-03-29 03:00:00", "2026-03-29 03:00:01"), [0.0, 1.0, 2.0]),
        (("2026-10-25 02:59:59", "2026-10-25 02:00:00", "2026-10-25 02:00:01"), [0.0, 1.0, 2.0]),
        (("2026-03-29 01:59:59", "2026-03-29 02:00:00", "2026-03-29 03:30:00"), [0, 1, 5401]),
    ],
    ids=["forward", "back", "clock left alone"],
)
def test_change_of_daylight_saving_is_no_gap_and_no_step_back(
    stamps: tuple[str, ...], seconds: list[float]
) -> None:
    run = read(stamped(*stamps), zone=BERLIN)
    assert run.time_s.tolist() == seconds


def test_clock_change_taken_out_is_said() -> None:
    stamps = ("2026-10-25 02:59:59", "2026-10-25 02:00:00", "2026-10-25 02:00:01")
    assert "Clocks in Europe/Berlin changed by -1 h during the run; taken out." in (
        read(stamped(*stamps), zone=BERLIN).info.dialect
    )
    assert "runs backwards" in str(refused(stamped(*stamps), zone=UTC))


def test_utc_in_the_header_is_the_zone() -> None:
    log = stamped("2026-07-01 12:00:00", "2026-07-01 12:00:01", header="UTC time")
    assert read(log, zone=BERLIN).info.started_at.hour == 12
    assert date(2026, 7, 1) == read(log, zone=BERLIN).info.started_at.date()


def test_dates_in_two_orders_are_not_all_read() -> None:
    stamps = ("13/05/2026 14:00:00", "05/13/2026 14:00:01", "05/13/2026 14:00:02")
    assert "2 of 3 rows have no time that can be read" in str(refused(stamped(*stamps)))


def test_dates_and_times_that_never_stand_in_one_row_are_refused() -> None:
    rows = [("2026-05-16", "", 900), ("", "14:00:01", 910), ("", "14:00:02", 920)]
    error = refused(csv_of(["date", "time", "rpm"], rows))
    assert "none of its first rows has both a date and a time in column 'time'" in str(error)


def test_counted_rows_after_a_restart_need_its_start() -> None:
    part = "Rate,10 Hz\nRPM,Boost [kPa]\n" + "".join(f"{900 + i},{i}\n" for i in range(9))
    run = read(part + part)
    assert run.time_s[9] == pytest.approx(10.9)
    assert any("restarted without a clock in line 13" in said for said in run.info.warnings)
    noted = [f"Start,2026-05-16 14:0{i}:00\n{part}" for i in range(2)]
    assert read("".join(noted)).time_s[9] == pytest.approx(60.0)
