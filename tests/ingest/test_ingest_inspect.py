import re
import tomllib

import pytest
from ingest_logs import csv_of, inspect, ramp

from pipeline.errors import LogRefusedError
from pipeline.settings import Profile


def test_every_column_has_a_row_with_what_was_found() -> None:
    rows = [
        (f"{i / 10:.1f}", 1000 + i, 60 + i % 3, 40 + i if i % 5 == 0 else "", "OUT", 7)
        for i in range(51)
    ]
    log = csv_of(["Time (s)", "RPM", "Oil Press [psi]", "EGT [C]", "lap", "Ch 7"], rows)
    time, rpm, oil, exhaust, lap, other = inspect(log).columns
    assert (time.name, time.rate_hz, time.unit) == ("time", pytest.approx(10.0), "s")
    assert (rpm.name, rpm.unit, rpm.unit_basis) == ("rpm", "1/min", "name")
    assert (oil.name, oil.unit, oil.low, oil.high) == ("oil_pressure", "psi", 60.0, 62.0)
    assert exhaust.rate_hz == pytest.approx(2.0)
    assert exhaust.share_missing == 0.0
    assert (lap.known, lap.remark) == (False, "text, not numbers: left out")
    assert (other.name, other.known, other.remark) == ("ch_7", False, "kept under its own name")


def test_share_missing_is_of_the_run() -> None:
    rows = [(t, rpm, "" if 4 <= i < 8 else i) for i, (t, rpm) in enumerate(ramp(40))]
    view = inspect(csv_of(["time", "rpm", "boost [kPa]"], rows)).columns[2]
    assert view.share_missing == pytest.approx(0.1)


def test_missing_units_are_problems_not_errors() -> None:
    inspection = inspect(csv_of(["time", "rpm", "oil press"], [(t, r, 60) for t, r in ramp()]))
    assert len(inspection.problems) == 1
    assert inspection.problems[0].startswith("The unit is not known of oil_pressure")
    assert inspection.options == ("--unit oil_pressure=psi",)
    assert inspection.columns[2].remark == "needs its unit"
    assert inspection.columns[2].plausible[0] == "psi"
    assert inspection.duration_s == pytest.approx(1.9)


def test_log_without_time_still_shows_its_columns() -> None:
    inspection = inspect(csv_of(["stamp", "rpm"], ramp()))
    assert "no column is named as time" in inspection.problems[0].casefold()
    assert (inspection.started_at, inspection.duration_s) == (None, None)
    assert [view.rate_hz for view in inspection.columns] == [None, None]


def test_time_running_backwards_is_a_problem_among_others() -> None:
    inspection = inspect("time,rpm,oil press\n0.5,1,60\n0.6,2,60\n0.1,3,60\n")
    assert len(inspection.problems) == 2
    assert inspection.problems[1].startswith("Time runs backwards in line 4")
    assert inspection.columns[1].high == 3.0


def test_no_table_at_all_is_refused() -> None:
    with pytest.raises(LogRefusedError, match="the file is empty"):
        inspect("")


def test_profile_can_be_saved_as_it_is_and_holds_what_was_given() -> None:
    log = csv_of(
        ["time", "rpm", "Ch 7", 'Ch "8"', "coolant"], [(t, r, 60, 5, 88) for t, r in ramp()]
    )
    inspection = inspect(log, columns={"Ch 7": "oil_pressure"}, units={"oil_pressure": "psi"})
    text = inspection.profile_toml("club logger")
    table = tomllib.loads(text)["profile"]["club logger"]
    assert table == {"columns": {"Ch 7": "oil_pressure"}, "units": {"oil_pressure": "psi"}}
    assert '# coolant_temperature = "°C"  # or °F' in text
    assert '# "Ch \\"8\\"" = ""' in text
    again = inspect(log, profile=Profile.model_validate(table), units={"coolant_temperature": "°C"})
    assert again.problems == ()


def test_comments_of_a_profile_are_ready_to_be_filled_in() -> None:
    text = inspect(csv_of(["time", "rpm", "Ch 7"], [(t, r, 60) for t, r in ramp()])).profile_toml(
        "a"
    )
    filled = re.sub("^# ", "", text.replace('= ""', '= "oil_pressure"'), flags=re.MULTILINE)
    profile = Profile.model_validate(tomllib.loads(filled)["profile"]["a"])
    assert profile.lateral_positive == "left"
    assert profile.dates == "day-first"
    assert profile.columns == {"Ch 7": "oil_pressure"}
