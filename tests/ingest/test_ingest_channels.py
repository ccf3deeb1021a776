from typing import Any

import pytest

from babbitt.errors import Remedy, SettingsError
from babbitt.ingest.columns.channels import Layout, lay_out
from babbitt.ingest.source import Instructions
from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import find_dialect
from babbitt.logbook.settings import Profile
from ingest_logs import csv_of, ramp, read, refused, source_of


def layout_of(headers: list[str], units_row: list[str] | None = None, **given: Any) -> Layout:
    rows = [[str(i + j) for j in range(len(headers))] for i in range(4)]
    quoted = [f'"{header}"' for header in headers]
    log = csv_of(quoted, [units_row, *rows] if units_row else rows)
    return lay_out(find_dialect(read_text(source_of(log)), "a.csv"), Instructions(**given))


def test_columns_are_named_after_their_channels() -> None:
    layout = layout_of(["Time (s)", "RPM", "Oil Press [psi]", "Brake [bar]"])
    assert layout.time is not None
    assert layout.time.header == "Time (s)"
    assert [column.name for column in layout.columns] == ["rpm", "oil_pressure", "brake_bar"]
    assert [column.unit_basis for column in layout.columns] == ["name", "header", ""]
    assert layout.columns[2].unit_text == "bar"
    assert layout.problems == ()


def test_units_row_states_units_and_wins_over_a_name() -> None:
    layout = layout_of(["time", "rpm", "lateral g"], ["s", "1/min", "m/s²"])
    lateral = layout.columns[1]
    assert lateral.unit is not None
    assert (lateral.unit.symbol, lateral.unit_basis) == ("m/s²", "units row")


def test_units_that_contradict_one_another_are_no_unit() -> None:
    layout = layout_of(["time", "rpm", "oil pressure [psi]"], ["s", "1/min", "bar"])
    assert layout.columns[1].unit is None
    assert layout.columns[1].unit_text == "psi / bar"


def test_unit_given_wins_over_profile_and_log() -> None:
    profile = Profile(units={"oil_pressure": "bar", "oil_temperature": "K"})
    layout = layout_of(
        ["time", "rpm", "oil pressure [kPa]", "oil temp [°C]"],
        profile=profile,
        units={"oil_pressure": "psi"},
    )
    pressure, temperature = layout.columns[1:]
    assert (pressure.unit.symbol, pressure.unit_basis) == ("psi", "stated")
    assert (temperature.unit.symbol, temperature.unit_basis) == ("K", "profile")


def test_map_wins_over_profile_and_aliases() -> None:
    layout = layout_of(
        ["time", "RPM", "Ch 7", "Ch 8", "Oil Press [bar]"],
        profile=Profile(columns={"Ch 7": "oil_pressure", "Ch 9": "boost"}),
        columns={"ch 8": "oil_pressure"},
        units={"oil_pressure": "psi"},
    )
    names = {column.header: column.name for column in layout.columns}
    assert names == {
        "RPM": "rpm",
        "Ch 7": "ch_7",
        "Ch 8": "oil_pressure",
        "Oil Press [bar]": "oil_press_bar",
    }
    assert [column.given for column in layout.columns] == [False, False, True, False]


def test_time_column_can_be_mapped() -> None:
    layout = layout_of(["stamp", "RPM"], columns={"stamp": "time"})
    assert layout.time is not None
    assert layout.problems == ()


def test_map_of_an_absent_header_names_the_nearest() -> None:
    layout = layout_of(["time", "rpm", "Oil Pr."], columns={"Oil Prs": "oil_pressure"})
    assert "no column 'Oil Prs' to map to oil_pressure (the nearest is 'Oil Pr.')" in (
        layout.problems[0].sentence
    )


def test_two_columns_mapped_to_one_channel_are_a_problem() -> None:
    layout = layout_of(["time", "a", "b"], columns={"a": "rpm", "b": "rpm"})
    assert "'a' and 'b' are both mapped to rpm" in layout.problems[0].sentence


def test_two_headers_of_a_watched_channel_are_a_problem_with_its_option() -> None:
    layout = layout_of(["time", "rpm", "Sump Temp [C]", "Oil Temp [C]"])
    assert len(layout.problems) == 1
    assert "'Sump Temp [C]' and 'Oil Temp [C]' both name oil_temperature" in (
        layout.problems[0].sentence
    )
    assert layout.problems[0].remedies[0] == Remedy("map", "Sump Temp [C]", "oil_temperature")


def test_two_headers_of_an_optional_channel_are_kept_as_neither() -> None:
    layout = layout_of(["time", "rpm", "GPS Speed [km/h]", "Wheel Speed [km/h]"])
    assert layout.problems == ()
    assert [column.channel for column in layout.columns[1:]] == [None, None]
    assert "'GPS Speed [km/h]' and 'Wheel Speed [km/h]' both name speed" in layout.warnings[0]


def test_gauge_pressure_outranks_absolute_pressure_of_the_same_place() -> None:
    layout = layout_of(["time", "rpm", "MAP [kPa]", "Boost [kPa]"])
    assert layout.problems == ()
    assert [column.name for column in layout.columns[1:]] == ["map_kpa", "boost"]


def test_raw_voltage_does_not_rival_the_pressure() -> None:
    layout = layout_of(["time", "rpm", "Oil Press [V]", "Oil Press [psi]"])
    assert [column.name for column in layout.columns[1:]] == ["oil_press_v", "oil_pressure"]


def test_repeated_header_is_numbered_and_can_be_mapped() -> None:
    headers = ["time", "rpm", "Oil Temp [C]", "Oil Temp [C]"]
    assert layout_of(headers).problems
    layout = layout_of(headers, columns={"Oil Temp [C] (2)": "oil_temperature"})
    assert layout.problems == ()
    assert [column.name for column in layout.columns[1:]] == ["oil_temp_c", "oil_temperature"]


@pytest.mark.parametrize(
    ("header", "unit", "absolute"),
    [
        ("MAP [kPa]", "kPa", True),
        ("MAP [psig]", "psi", False),
        ("Boost [kPa]", "kPa", False),
        ("Boost [bara]", "bar", True),
        ("Oil Press [psia]", "psi", True),
    ],
)
def test_reference_of_a_pressure_is_by_its_unit_then_its_name(
    header: str, unit: str, absolute: bool
) -> None:
    column = layout_of(["time", "rpm", header]).columns[1]
    assert column.unit is not None
    assert (column.unit.symbol, column.absolute) == (unit, absolute)


def test_channel_without_dimension_needs_no_unit() -> None:
    layout = layout_of(["time", "rpm", "Gear", "Lambda"])
    assert [column.name for column in layout.columns] == ["rpm", "gear", "lambda"]
    assert [column.unit_basis for column in layout.columns[1:]] == ["dimensionless"] * 2


def test_optional_channel_without_unit_is_kept_as_logged_with_its_option() -> None:
    layout = layout_of(["time", "rpm", "Fuel Press", "EGT [V]"])
    fuel, exhaust = layout.columns[1:]
    assert (fuel.name, fuel.channel) == ("fuel_pressure_as_logged", None)
    assert (exhaust.name, exhaust.unit_text) == ("exhaust_temperature_as_logged", "V")
    assert "state it, like kPa" in layout.warnings[0]
    assert "'V', which is no unit of it" in layout.warnings[1]


def test_own_names_are_unique_and_never_those_of_channels_or_flags() -> None:
    layout = layout_of(["time", "rpm", "Ch-1", "Ch 1", "7th", "", "brake_flag", "time s", "Größe"])
    assert [column.name for column in layout.columns[1:]] == [
        "ch_1",
        "ch_1_2",
        "column_7th",
        "column_6",
        "brake_flag_column",
        "time_s_2",
        "groe",
    ]


def test_missing_time_and_speed_are_told_together() -> None:
    error = refused("a,b\n0,1\n1,2\n")
    assert "no column is named as time (it has 'a', 'b')" in str(error)
    assert "engine speed" in str(error)
    assert error.remedies == (Remedy("unit", "time"), Remedy("map", value="rpm"))


def test_misspelt_channel_or_unit_given_is_refused() -> None:
    log = csv_of(["time", "rpm"], ramp())
    with pytest.raises(SettingsError, match="did you mean 'oil_pressure'"):
        read(log, columns={"rpm": "oil_presure"})
    with pytest.raises(SettingsError, match="'furlong' is no unit of boost"):
        read(log, units={"boost": "furlong"})


def test_blank_headers_are_not_numbered() -> None:
    layout = layout_of(["time", "rpm", "", ""])
    assert [column.name for column in layout.columns[1:]] == ["column_3", "column_4"]


def test_interval_of_the_notes_is_the_unit_of_sample_numbers() -> None:
    log = "Sample rate,50 Hz\n" + csv_of(["sample", "rpm"], [(str(i), 900 + i) for i in range(9)])
    assert read(log).time_s.tolist() == pytest.approx([0.02 * i for i in range(9)])
    assert "Time: numbers in samples of 0.02 s." in read(log).info.dialect
    assert read(log, units={"time": "ms"}).time_s[1] == pytest.approx(0.001)


def test_time_columns_of_several_units_are_a_problem() -> None:
    layout = layout_of(["time [s]", "rpm", "time [ms]", "boost [kPa]"])
    assert "its time columns ('time [s]', 'time [ms]') are not in one unit" in (
        layout.problems[0].sentence
    )


def test_clock_times_of_single_channels_are_a_problem() -> None:
    rows = [(f"14:05:{i:02d}", 900 + i, f"14:05:{i:02d}", i) for i in range(9)]
    error = refused(csv_of(["time", "rpm", "time", "boost [kPa]"], rows))
    assert "the time columns that its channels each bring are text" in str(error)


def test_date_is_mapped_like_a_channel() -> None:
    rows = [("16 May 2026", f"14:05:{i:02d}", 900 + i) for i in range(9)]
    log = csv_of(["when", "time", "rpm"], rows)
    assert read(log, columns={"when": "date"}).info.started_at.isoformat()[:10] == "2026-05-16"


def test_date_mapped_beside_whole_stamps_is_kept_as_it_stands() -> None:
    rows = [(f"{i}", f"2026-05-16 14:05:{i:02d}", 900 + i) for i in range(9)]
    run = read(csv_of(["when", "time", "rpm"], rows), columns={"when": "date"})
    assert list(run.signals) == ["when", "rpm"]


def test_the_likeliest_columns_are_named_with_their_values() -> None:
    rows = "".join(f"{i * 50},{40 + i % 3},{2000 + 37 * (i % 7)}\n" for i in range(20))
    error = refused("stamp,a,b\n" + rows)
    assert "by their first values it may be 'stamp' (0 to 950)" in str(error)
    assert "'b' (2000 to 2222)" in str(error)
    assert error.remedies == (
        Remedy("map", "stamp", "time"),
        Remedy("unit", "time", "ms"),
        Remedy("unit", "time", "s"),
        Remedy("map", "b", "rpm"),
        Remedy("unit", "rpm", "1/min"),
    )
    units = {"time": "ms", "rpm": "1/min"}
    run = read(f"stamp,a,b\n{rows}", columns={"stamp": "time", "b": "rpm"}, units=units)
    assert run.duration_s == pytest.approx(0.95)


def test_units_and_a_time_that_cannot_be_told_are_asked_for_at_once() -> None:
    rows = "".join(f"{i * 50},{2000 + 37 * i},60,{i % 90}\n" for i in range(20))
    error = refused("time,rpm,oil press,throttle\n" + rows)
    asked = {(each.option, each.target) for each in error.remedies}
    assert asked == {("unit", "time"), ("unit", "oil_pressure"), ("unit", "throttle")}
