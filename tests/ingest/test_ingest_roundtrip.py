"""A table written in any dialect reads back the same."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import hypothesis.strategies as st
import numpy as np
from hypothesis import given, settings

from babbitt.logbook.settings import Profile
from ingest_logs import read

STARTED = datetime(2026, 5, 16, 23, 59, 58, 500_000, tzinfo=UTC)

CHANNELS = {
    "rpm": (("RPM", "Engine Speed", "Drehzahl"), ("1/min", "rpm")),
    "oil_pressure": (("Oil Press", "Öldruck", "EOP"), ("kPa", "bar", "psi")),
    "oil_temperature": (("Oil Temp", "Température huile"), ("°C", "degF", "K")),
    "coolant_temperature": (("ECT", "Coolant"), ("C", "F")),
    "boost": (("Boost", "Ladedruck"), ("kPa", "mbar", "psig")),
    "lateral_g": (("Lat Acc", "Querbeschleunigung"), ("g", "m/s²")),
    "speed": (("Vehicle Speed",), ("km/h", "mph")),
}
TO_CANONICAL = {
    "kPa": (1.0, 0.0),
    "bar": (100.0, 0.0),
    "psi": (6.894757293, 0.0),
    "psig": (6.894757293, 0.0),
    "mbar": (0.1, 0.0),
    "°C": (1.0, 0.0),
    "C": (1.0, 0.0),
    "K": (1.0, -273.15),
    "degF": (1 / 1.8, -32 / 1.8),
    "F": (1 / 1.8, -32 / 1.8),
    "m/s²": (1 / 9.80665, 0.0),
    "mph": (1.609344, 0.0),
}


BLANKS = ("", "-", "NaN", "N/A", "####")
SOURCES = ("Logger", "ECU", "Sensors")
ORDERS = {"day_first": "day-first", "two_digit": "day-first", "month_first": "month-first"}

TIMES = {
    "clock": "%H:%M:%S.%f",
    "iso": "%Y-%m-%dT%H:%M:%S.%f",
    "zoned": "%Y-%m-%dT%H:%M:%S.%f+02:00",
    "day_first": "%d.%m.%Y %H:%M:%S.%f",
    "month_first": "%m/%d/%Y %I:%M:%S.%f %p",
    "two_digit": "%d-%m-%y %H:%M:%S.%f",
    "date_apart": "%Y-%m-%d|%H:%M:%S.%f",
}
"""Way of writing a moment -> its pattern, in which %f is milliseconds and | begins another cell."""


@dataclass(frozen=True)
class Writing:
    """How a table is written."""

    encoding: str
    delimiter: str
    decimal: str
    grouping: str
    ending: str
    quoted: bool
    trailing: bool
    units_in: str
    sources: bool
    notes: int
    blank: str
    time: str


@st.composite
def writings(draw: st.DrawFn) -> Writing:
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    decimal = draw(st.sampled_from([".", ","]))
    grouping = draw(st.sampled_from(["", "", " ", "'", "\u00a0", "," if decimal == "." else "."]))
    return Writing(
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])),
        delimiter=delimiter,
        decimal=decimal,
        grouping=grouping,
        ending=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        quoted=draw(st.booleans()) or delimiter in (decimal, grouping),
        trailing=draw(st.booleans()),
        units_in=draw(st.sampled_from(["brackets", "parentheses", "row"])),
        sources=draw(st.booleans()),
        notes=draw(st.integers(0, 3)),
        blank=draw(st.sampled_from(BLANKS)),
        time=draw(st.sampled_from(["s", "ms", "samples", *TIMES])),
    )


def time_cells(how: Writing, seconds: float) -> list[str]:
    match how.time:
        case "s":
            return [f"{seconds:.3f}".replace(".", how.decimal)]
        case "ms":
            return [f"{seconds * 1000:.0f}"]
        case "samples":
            return [f"{7000 + seconds * 100:.0f}"]
        case _:
            at = STARTED + timedelta(seconds=seconds, hours=2 * (how.time == "zoned"))
            pattern = TIMES[how.time].replace("%f", f"{at.microsecond // 1000:03d}")
            return at.strftime(pattern).split("|")


def time_headers(how: Writing) -> tuple[list[str], list[str]]:
    match how.time:
        case "s" | "ms":
            return ["Time"], [how.time]
        case "samples":
            return ["Sample"], [""]
        case "date_apart":
            return ["Date", "Time"], ["", ""]
        case _:
            return ["Time"], [""]


def written(
    how: Writing, time_s: list[float], columns: dict[str, tuple[str, str, list[float | None]]]
) -> bytes:
    headers, units = time_headers(how)
    count = len(headers)
    for header, unit, _ in columns.values():
        headers.append(header)
        units.append(unit)
    if how.units_in != "row":
        left, right = "[]" if how.units_in == "brackets" else "()"
        pairs = zip(headers, units, strict=True)
        headers = [f"{header} {left}{unit}{right}" if unit else header for header, unit in pairs]

    def number(value: float | None) -> str:
        if value is None:
            return how.blank
        return f"{value:,.2f}".translate({ord(","): how.grouping, ord("."): how.decimal})

    lines = [["Remark", f"no {i}"] for i in range(how.notes)]
    if how.time == "samples":
        lines.append(["Sample rate", "100 Hz"])
    if how.sources:
        lines.append([SOURCES[i % 3] for i in range(len(headers))])
    lines += [headers] + ([units] if how.units_in == "row" else [])
    body = [
        [*time_cells(how, t), *(number(values[i]) for _, _, values in columns.values())]
        for i, t in enumerate(time_s)
    ]
    if how.quoted:
        body = [[f'"{cell}"' for cell in row] for row in body]
    tail = how.delimiter if how.trailing else ""
    assert all(len(row) == count + len(columns) for row in body)
    return "".join(how.delimiter.join(line) + tail + how.ending for line in lines + body).encode(
        how.encoding
    )


@settings(max_examples=100, deadline=None)
@given(how=writings(), data=st.data())
def test_table_in_any_dialect_reads_back_the_same(how: Writing, data: st.DataObject) -> None:
    count = data.draw(st.integers(6, 25))
    steps = data.draw(
        st.lists(st.sampled_from([10, 20, 50, 1000]), min_size=count - 1, max_size=count - 1)
    )
    time_s = [0.0, *np.cumsum(steps) / 1000.0]
    others = data.draw(st.sets(st.sampled_from([name for name in CHANNELS if name != "rpm"])))
    columns: dict[str, tuple[str, str, list[float | None]]] = {}
    for name in data.draw(st.permutations(["rpm", *sorted(others)])):
        headers, units = CHANNELS[name]
        cents = st.integers(-99_999, 999_999).map(lambda n: n / 100)
        values = data.draw(st.lists(cents | st.none(), min_size=count - 1, max_size=count - 1))
        columns[name] = (
            data.draw(st.sampled_from(headers)),
            data.draw(st.sampled_from(units)),
            [data.draw(cents), *values],
        )
    profile = Profile(dates=ORDERS[how.time]) if how.time in ORDERS else None
    stated = STARTED if how.time in ("s", "ms", "samples", "clock") else None
    run = read(written(how, time_s, columns), started=stated, profile=profile)
    np.testing.assert_allclose(run.time_s, time_s, atol=1e-6)
    assert run.info.started_at == STARTED
    assert list(run.signals) == list(columns)
    for name, (_, unit, values) in columns.items():
        factor, offset = TO_CANONICAL.get(unit, (1.0, 0.0))
        known = [i for i, value in enumerate(values) if value is not None]
        np.testing.assert_allclose(
            run.signals[name].values[known],
            np.array([values[i] for i in known]) * factor + offset,
            rtol=3e-6,
            atol=1e-3,
        )
