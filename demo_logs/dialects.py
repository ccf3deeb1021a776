"""Seven ways in which loggers write a CSV file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from demo_logs.car import GRAVITY_M_S2, FloatArray
from demo_logs.logger import Recording

HOME = ZoneInfo("Europe/Berlin")  # as in demo_logs/logbook.toml
KPA_PER_PSI = 6.894757
AMBIENT_KPA = 98.9  # at the circuits


@dataclass(frozen=True)
class Column:
    """One column: ``written = value * factor + offset``.

    Attributes:
        channel: where the values come from.
        header: as written.
        unit: for the units row, where the dialect has one.
        digits: behind the decimal mark.
        factor: see above.
        offset: see above.
        every: rows from one value to the next; the cells between are blank.
    """

    channel: str
    header: str
    digits: int
    unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    every: int = 1


TimeStyle = Callable[[FloatArray, datetime], list[str]]
Preamble = Callable[[datetime, str], list[list[str]]]


@dataclass(frozen=True)
class Dialect:
    """How a logger writes.

    Attributes:
        name: for the README and the plan.
        encoding: of the bytes.
        time_header: of the time column, the first.
        time_unit: for the units row.
        time: writes the time column.
        columns: the others.
        preamble: cells of the lines before the header.
        delimiter: between cells.
        decimal: mark.
        newline: between lines.
        quoted: every cell in quotes.
        units_row: units stand in a row of their own.
        trailing: a delimiter ends each line.
    """

    name: str
    encoding: str
    time_header: str
    time: TimeStyle
    columns: tuple[Column, ...]
    time_unit: str = ""
    preamble: Preamble = field(default=lambda started, session: [])
    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"
    quoted: bool = False
    units_row: bool = False
    trailing: bool = False


def write(dialect: Dialect, recording: Recording, started: datetime, session: str) -> bytes:
    """Return the bytes of the log.

    Args:
        dialect: how to write.
        recording: what to write.
        started: instant of the first row.
        session: what the logger calls the session.
    """
    lines = dialect.preamble(started, session)
    lines.append([dialect.time_header, *(column.header for column in dialect.columns)])
    if dialect.units_row:
        lines.append([dialect.time_unit, *(column.unit for column in dialect.columns)])
    columns = [_cells(column, recording, dialect.decimal) for column in dialect.columns]
    times = [
        cell.replace(".", dialect.decimal) for cell in dialect.time(recording.stamp_s, started)
    ]
    lines.extend(list(row) for row in zip(times, *columns, strict=True))
    text = "".join(_line(dialect, cells) for cells in lines)
    return text.encode(dialect.encoding)


def _cells(column: Column, recording: Recording, decimal: str) -> list[str]:
    values = recording.channels[column.channel] * column.factor + column.offset
    cells = [
        "" if np.isnan(value) else f"{value:.{column.digits}f}".replace(".", decimal)
        for value in values.tolist()
    ]
    if column.every > 1:
        cells = [cell if row % column.every == 0 else "" for row, cell in enumerate(cells)]
    return cells


def _line(dialect: Dialect, cells: list[str]) -> str:
    if dialect.quoted:
        cells = [f'"{cell}"' if cell else "" for cell in cells]
    return dialect.delimiter.join(cells) + dialect.delimiter * dialect.trailing + dialect.newline


def _seconds(stamp_s: FloatArray, started: datetime) -> list[str]:
    return [f"{second:.2f}" for second in stamp_s.tolist()]


def _milliseconds(stamp_s: FloatArray, started: datetime) -> list[str]:
    return [f"{1000.0 * second:.0f}" for second in stamp_s.tolist()]


def _instants(stamp_s: FloatArray, started: datetime) -> list[datetime]:
    return [started + timedelta(milliseconds=round(1000.0 * s)) for s in stamp_s.tolist()]


def _clock(stamp_s: FloatArray, started: datetime) -> list[str]:
    local = started.astimezone(HOME)
    return [f"{t:%H:%M:%S}.{t.microsecond // 1000:03d}" for t in _instants(stamp_s, local)]


def _iso_8601(stamp_s: FloatArray, started: datetime) -> list[str]:
    local = started.astimezone(HOME)
    return [t.isoformat(timespec="milliseconds") for t in _instants(stamp_s, local)]


PLAIN = Dialect(
    name="plain",
    encoding="utf-8",
    time_header="Time [s]",
    time=_seconds,
    columns=(
        Column("rpm", "Engine Speed [1/min]", 0),
        Column("oil_pressure", "Oil Pressure [kPa]", 1),
        Column("oil_temperature", "Oil Temp [°C]", 2),
        Column("coolant_temperature", "Coolant Temp [°C]", 2),
        Column("boost", "Boost [kPa]", 1),
        Column("lateral_g", "Lateral G [g]", 2),
        Column("throttle", "Throttle [%]", 0),
    ),
)

GERMAN = Dialect(
    name="german",
    encoding="cp1252",
    delimiter=";",
    decimal=",",
    newline="\r\n",
    units_row=True,
    preamble=lambda started, session: [
        ["Session", session],
        ["Date", f"{started.astimezone(HOME):%Y-%m-%d}"],
        ["Time", f"{started.astimezone(HOME):%H:%M:%S}"],
    ],
    time_header="Zeit",
    time_unit="s",
    time=_seconds,
    columns=(
        Column("rpm", "Motordrehzahl", 0, "1/min"),
        Column("oil_pressure", "Öldruck", 3, "bar", 0.01),
        Column("oil_temperature", "Öltemperatur", 2, "°C"),
        Column("coolant_temperature", "Kühlmitteltemperatur", 2, "°C"),
        Column("boost", "Ladedruck", 3, "bar", 0.01),
        Column("lateral_g", "Querbeschleunigung", 2, "g"),
        Column("throttle", "Drosselklappe", 0, "%"),
    ),
)

CLOCK = Dialect(
    name="clock",
    encoding="utf-16",
    delimiter="\t",
    newline="\r\n",
    preamble=lambda started, session: [
        ["Session", session],
        ["Session date", f"{started.astimezone(HOME):%Y-%m-%d}"],
    ],
    time_header="Clock",
    time=_clock,
    columns=(
        Column("rpm", "RPM (1/min)", 0),
        Column("oil_pressure", "Oil Press (bar)", 3, factor=0.01),
        Column("oil_temperature", "Oil Temp (°C)", 2),
        Column("coolant_temperature", "Water Temp (°C)", 2),
        Column("boost", "Boost Press (bar)", 3, factor=0.01),
        Column("lateral_g", "Lat Acc (g)", 2),
    ),
)

STAMPED = Dialect(
    name="stamped",
    encoding="utf-8-sig",
    trailing=True,
    preamble=lambda started, session: [
        [f"Session: {session}"],
        ["Team", "Nettlebrook Motorsport"],
        ["Sample rate", "as recorded"],
        [],
    ],
    time_header="Timestamp",
    time=_iso_8601,
    columns=(
        Column("rpm", "Eng RPM", 0),
        Column("oil_pressure", "Eng Oil Pres (kPa)", 1),
        Column("oil_temperature", "Eng Oil Temp (C)", 2),
        Column("coolant_temperature", "ECT (C)", 2),
        Column("boost", "Manifold Pressure (hPa)", 0, factor=10.0, offset=10.0 * AMBIENT_KPA),
        Column("lateral_g", "G Lat (g)", 2),
        Column("gear", "Gear", 0),
    ),
)

MIXED_RATES = Dialect(
    name="mixed_rates",
    encoding="utf-8",
    quoted=True,
    preamble=lambda started, session: [
        ["Recorded", f"{started.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"],
        ["Session", session],
    ],
    time_header="Time (ms)",
    time=_milliseconds,
    columns=(
        Column("rpm", "RPM", 0),
        Column("oil_pressure", "Oil Pressure (psi)", 2, factor=1.0 / KPA_PER_PSI),
        Column("oil_temperature", "Oil Temp (°F)", 2, factor=1.8, offset=32.0, every=10),
        Column("coolant_temperature", "Coolant Temp (°F)", 2, factor=1.8, offset=32.0, every=10),
        Column(
            "boost", "MAP (psia)", 2, factor=1.0 / KPA_PER_PSI, offset=AMBIENT_KPA / KPA_PER_PSI
        ),
        Column("lateral_g", "Lateral Acc (m/s²)", 2, factor=GRAVITY_M_S2, every=2),
        Column("speed", "Speed (mph)", 1, factor=1.0 / 1.609344, every=5),
    ),
)

NUMBERED = Dialect(
    name="numbered",
    encoding="utf-8",
    preamble=lambda started, session: [
        ["Start", f"{started.astimezone(UTC):%Y-%m-%d %H:%M:%S}"],
    ],
    time_header="Elapsed (s)",
    time=_seconds,
    columns=(
        Column("rpm", "Ch 1", 0),
        Column("oil_pressure", "Ch 2", 3, factor=0.01),
        Column("oil_temperature", "Ch 3", 2),
        Column("coolant_temperature", "Ch 4", 2),
        Column("boost", "Ch 5", 3, factor=0.01),
        Column("lateral_g", "Ch 6", 2, factor=-1.0),
    ),
)

SLOW_PRESSURE = Dialect(
    name="slow_pressure",
    encoding="utf-8",
    time_header="Time [s]",
    time=_seconds,
    columns=(
        Column("rpm", "Engine Speed [1/min]", 0),
        Column("oil_pressure", "Oil Pressure [kPa]", 1, every=5),
        Column("oil_temperature", "Oil Temp [°C]", 1, every=10),
        Column("coolant_temperature", "Coolant Temp [°C]", 1, every=10),
        Column("boost", "Boost [kPa]", 1),
        Column("lateral_g", "Lateral G [g]", 2),
    ),
)
