"""Sessions of the invented team's car, as logs with a fault of a sensor or with harm in them.

Noise, circuits, engine and harm are those of the demo (demo_logs/).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache

import numpy as np

from babbitt.ingest.read import read_log
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.model.engine_spec import parse_spec
from babbitt.model.run import Run
from demo_logs.logger import record
from demo_logs.planting import Planted, plant
from demo_logs.session import SessionPlan, Trace, make_trace
from demo_logs.truth import Clock
from invented import SPEC

Columns = dict[str, np.ndarray]

ENGINE = parse_spec(SPEC, source="test")
TOLLBAR = SessionPlan("Tollbar Bowl", 3)
FENNICK = SessionPlan("Fennick Hill", 2)
ROLLS = SessionPlan("rolls", 5)
STARTED = datetime(2026, 5, 16, 10, 0, tzinfo=UTC)
AMBIENT_KPA = 98.9
GIVEN = Instructions("NB-01", started=STARTED)

HEADERS = {
    "rpm": "RPM (1/min)",
    "oil_pressure": "Oil Press (kPa)",
    "oil_temperature": "Oil Temp (°C)",
    "coolant_temperature": "Water Temp (°C)",
    "boost": "Boost (kPa)",
    "lateral_g": "Lat G (g)",
    "speed": "Speed (km/h)",
    "throttle": "Throttle (%)",
}
DIGITS = {"rpm": 0, "lateral_g": 3, "boost": 1, "speed": 1, "throttle": 0}


@dataclass(frozen=True, eq=False)
class Spoilt:
    """What is wrong with a log: its columns, its headers, or what is said about them."""

    spoil: Callable[[Columns, np.random.Generator], None] = lambda _columns, _random: None
    headers: Mapping[str, str] = field(default_factory=dict)


@cache
def driven(plan: SessionPlan, planted: tuple[Planted, ...], rate_hz: float, seed: int) -> Trace:
    trace = make_trace(plan, 1.0 / rate_hz, np.random.default_rng(seed))
    plant(trace, planted)
    return trace


def csv_of(
    plan: SessionPlan = TOLLBAR,
    planted: tuple[Planted, ...] = (),
    fault: Spoilt | None = None,
    *,
    rate_hz: float = 20.0,
    seed: int = 0,
) -> str:
    """Return the log of a session."""
    fault = fault or Spoilt()
    random = np.random.default_rng([seed, 7])
    trace = driven(plan, planted, rate_hz, seed)
    recording = record(trace, rate_hz, Clock((), np.inf, 0.0), planted, (), random)
    columns = {name: values.copy() for name, values in recording.channels.items()}
    fault.spoil(columns, random)
    headers = {name: fault.headers.get(name, HEADERS.get(name, name)) for name in columns}
    names = [name for name in (*HEADERS, *sorted(columns)) if name in columns]
    names = [name for name in dict.fromkeys(names) if name not in ("gear", "longitudinal_g")]
    texts = [[f"{t:.3f}" for t in recording.stamp_s]]
    texts += [[f"{v:.{DIGITS.get(name, 2)}f}" for v in columns[name]] for name in names]
    lines = [",".join(["Time (s)", *(headers[name] for name in names)])]
    lines += [",".join(row) for row in zip(*texts, strict=True)]
    return "\n".join(lines) + "\n"


def read(text: str) -> Run:
    return read_as(text, GIVEN)


def read_as(text: str, instructions: Instructions) -> Run:
    data = text.encode()
    digest = hashlib.sha256(data).hexdigest()
    return read_log(ReadSource("session.csv", data, digest, STARTED), instructions)
