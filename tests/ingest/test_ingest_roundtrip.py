"""A table written in any dialect reads back the same."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
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


@dataclass(frozen=True)
class Writing:
    """How a table is written."""

    encoding: str
    delimiter: str
    decimal: str
    ending: str
    quoted: bool
    trailing: bool
    units_in: str
    notes: int
    time: str


@st.composite
def writings(draw: st.DrawFn) -> Writing:
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    decimal = draw(st.sampled_from([".", ","]))
    return Writing(
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])),
        delimiter=delimiter,
        decimal=decimal,
        ending=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        quoted=draw(st.booleans()) or decimal == delimiter,
        trailing=draw(st.booleans()),
        units_in=draw(st.sampled_from(["brackets", "parentheses", "row"])),
        notes=draw(st.integers(0, 3)),
        time=draw(st.sampled_from(["s", "ms", "clock", "iso", "zoned"])),
    )


def time_text(how: str, seconds: float) -> str:
    at = STARTED + timedelta(seconds=seconds)
    match how:
        case "s":
            return f"{seconds:.3f}"
        case "ms":
            return f"{seconds * 1000:.0f}"
        case "clock":
            return at.strftime("%H:%M:%S.%f")[:-3]
        case "iso":
            return at.replace(tzinfo=None).isoformat(timespec="milliseconds")
        case _:
            return (at + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "+02:00"


def written(
    how: Writing, time_s: list[float], columns: dict[str, tuple[str, str, list[float | None]]]
) -> bytes:
    time_unit = how.time if how.time in ("s", "ms") else ""
    headers, units = ["Time"], [time_unit]
    for header, unit, _ in columns.values():
        headers.append(header)
        units.append(unit)
    if how.units_in != "row":
        left, right = "[]" if how.units_in == "brackets" else "()"
        pairs = zip(headers, units, strict=True)
        headers = [f"{header} {left}{unit}{right}" if unit else header for header, unit in pairs]

    def number(value: float | None) -> str:
        if value is None:
            return ""
        text = f"{value:.2f}".replace(".", how.decimal)
        return f'"{text}"' if how.quoted else text

    def clock(seconds: float) -> str:
        text = time_text(how.time, seconds)
        if how.time == "s":
            text = text.replace(".", how.decimal)
            return f'"{text}"' if how.quoted else text
        return text

    lines = [["Remark", f"no {i}"] for i in range(how.notes)]
    lines += [headers] + ([units] if how.units_in == "row" else [])
    lines += [
        [clock(t), *(number(values[i]) for _, _, values in columns.values())]
        for i, t in enumerate(time_s)
    ]
    tail = how.delimiter if how.trailing else ""
    return "".join(how.delimiter.join(line) + tail + how.ending for line in lines).encode(
        how.encoding
    )


@settings(max_examples=120, deadline=None)
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
        values = data.draw(st.lists(cents, min_size=count, max_size=count))
        columns[name] = (
            data.draw(st.sampled_from(headers)),
            data.draw(st.sampled_from(units)),
            values,
        )
    run = read(written(how, time_s, columns), started=STARTED)
    np.testing.assert_allclose(run.time_s, time_s, atol=1e-6)
    assert list(run.signals) == list(columns)
    for name, (_, unit, values) in columns.items():
        factor, offset = TO_CANONICAL.get(unit, (1.0, 0.0))
        np.testing.assert_allclose(
            run.signals[name].values, np.array(values) * factor + offset, rtol=3e-6, atol=1e-3
        )


@pytest.mark.parametrize("time", ["iso", "zoned"])
def test_written_start_reads_back(time: str) -> None:
    how = Writing("utf-8", ",", ".", "\n", False, False, "row", 0, time)
    columns = {"rpm": ("RPM", "1/min", [1.0, 2.0, 3.0])}
    assert read(written(how, [0.0, 0.1, 0.2], columns)).info.started_at == STARTED
