import pytest

from babbitt.errors import LogRefusedError, Remedy
from ingest_logs import csv_of, preview, ramp, read


def test_every_column_has_a_row_with_what_was_found() -> None:
    rows = [
        (f"{i / 10:.1f}", 1000 + i, 60 + i % 3, 40 + i if i % 5 == 0 else "", "OUT", 7)
        for i in range(51)
    ]
    log = csv_of(["Time (s)", "RPM", "Oil Press [psi]", "EGT [C]", "tyre", "Ch 7"], rows)
    time, rpm, oil, exhaust, tyre, other = preview(log).columns
    assert (time.name, time.rate_hz, time.unit) == ("time", pytest.approx(10.0), "s")
    assert (rpm.name, rpm.unit, rpm.unit_basis) == ("rpm", "1/min", "name")
    assert (oil.name, oil.unit, oil.low, oil.high) == ("oil_pressure", "psi", 60.0, 62.0)
    assert exhaust.rate_hz == pytest.approx(2.0)
    assert exhaust.share_missing == 0.0
    assert (tyre.known, tyre.remark) == (False, "text, not numbers: left out")
    assert (other.name, other.known, other.remark) == ("ch_7", False, "kept under its own name")


def test_share_missing_is_of_the_run() -> None:
    rows = [(t, rpm, "" if 4 <= i < 8 else i) for i, (t, rpm) in enumerate(ramp(40))]
    view = preview(csv_of(["time", "rpm", "boost [kPa]"], rows)).columns[2]
    assert view.share_missing == pytest.approx(0.1)


def test_missing_units_are_problems_not_errors() -> None:
    found = preview(csv_of(["time", "rpm", "oil press"], [(t, r, 60) for t, r in ramp()]))
    assert len(found.problems) == 1
    assert found.problems[0].startswith("The unit is not known of oil_pressure")
    assert found.remedies[0] == Remedy("unit", "oil_pressure", "psi")
    assert found.columns[2].remark == "needs its unit"
    assert found.columns[2].plausible[0] == "psi"
    assert found.duration_s == pytest.approx(1.9)


def test_log_without_time_still_shows_its_columns() -> None:
    found = preview(csv_of(["stamp", "rpm"], ramp()))
    assert "no column is named as time" in found.problems[0].casefold()
    assert (found.started_at, found.duration_s) == (None, None)
    assert [view.rate_hz for view in found.columns] == [None, None]


def test_time_running_backwards_is_a_problem_among_others() -> None:
    found = preview(
        "time,rpm,oil press\n0.5,1,60\n1.0,2,60\n1.5,2,60\n2.0,2,60\n3.5,2,60\n1.8,3,60\n"
    )
    assert len(found.problems) == 2
    assert found.problems[1].startswith("Time runs backwards in line 7")
    assert found.columns[1].high == 3.0


def test_no_table_at_all_is_refused() -> None:
    with pytest.raises(LogRefusedError, match="the file is empty"):
        preview("")


def test_a_trace_keeps_the_peak_and_the_dip() -> None:
    rows = [
        (t, 9000 if i == 100 else 3000, 20 if i == 200 else 300)
        for i, (t, _) in enumerate(ramp(240))
    ]
    _, rpm, oil = preview(csv_of(["time", "rpm", "oil press [kPa]"], rows)).columns
    assert rpm.trace == tuple(9000.0 if i == 6 else 3000.0 for i in range(16))
    assert oil.trace == tuple(20.0 if i == 13 else 300.0 for i in range(16))


def test_a_stretch_without_readings_has_no_trace() -> None:
    rows = [(t, rpm, "" if i < 120 else 5) for i, (t, rpm) in enumerate(ramp(240))]
    boost = preview(csv_of(["time", "rpm", "boost [kPa]"], rows)).columns[2]
    assert boost.trace == (None,) * 8 + (5.0,) * 8


def test_what_would_be_said_of_the_sensors_is_said_before_anything_is_stored() -> None:
    time_s = [i / 10 for i in range(600)]
    rows = [
        (f"{t:.1f}", 3000 + i % 50, 0 if 200 <= i < 240 else 300 + i % 7)
        for i, t in enumerate(time_s)
    ]
    log = csv_of(["time", "rpm", "oil press [kPa]"], rows)
    assert preview(log).warnings == read(log).info.warnings
    assert any("Oil pressure" in said and "20" in said for said in preview(log).warnings)


def test_column_without_a_reading_at_a_known_time_has_no_range() -> None:
    times = [f"{i / 10}" for i in range(300)]
    rows = [(time, 900 + i, "") for i, time in enumerate(times)]
    rows[7] = ("soon", 907, "5")
    view = preview(csv_of(["time", "rpm", "gear"], rows)).columns[2]
    assert (view.low, view.share_missing) == (None, 1.0)
    assert view.remark == "no reading at a time that can be read"
