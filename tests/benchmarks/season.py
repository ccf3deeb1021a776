"""Invented runs of any length for benchmarks: laps, corners, noise, and some harm. Seeded.

One lap is drawn as a broken line through corner points and repeated; noise and events differ from
lap to lap. Nothing here is measured.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from babbitt.model.channels import channels
from babbitt.model.engine_spec import EngineSpec, parse_spec
from babbitt.model.run import BAD, GOOD, FloatArray, Run, RunInfo, Signal

RATE_HZ = 100.0
LAP_S = 90.0
OUT_S = 60.0
"""Engine off, started and idling, before the first lap."""

SPEC = """
[engine]
type = "invented four"
cylinders = 4
bore_mm = 86.0
stroke_mm = 86.0
rod_length_mm = 143.0
idle_rpm = 1100
[over_rev]
redline_rpm = 7600
mechanical_rpm = 8300
[oil_pressure]
relief_kpa = 550
floor_kpa_per_1000rpm = 55
[oil_temperature]
limit_c = 135.0
[coolant_temperature]
limit_c = 108.0
[boost]
limit_kpa = 180.0
"""

# Seconds into the lap, with straights driven through the gears and nine corners.
_RPM = (
    (0, 6000), (4, 7400), (4.2, 5900), (10, 7300), (10.2, 6100), (18, 7350), (21, 4200),
    (25, 4500), (30, 7300), (30.2, 5800), (36, 7000), (38, 4000), (46, 4300), (52, 7300),
    (52.2, 5900), (60, 6000), (66, 6050), (72, 7400), (74, 3800), (80, 4100), (85, 7200),
    (85.2, 5700), (90, 6000),
)  # fmt: skip
_LATERAL = (
    (0, 0), (19, 0), (21, 1.1), (25, 1.2), (27, 0), (36.5, 0), (38, -1.2), (45, -1.3), (47, 0),
    (58, 0.1), (60, 0.9), (66, 0.9), (67, 0), (72.5, 0), (74, -1.0), (80, -1.1), (82, 0.2), (90, 0),
)  # fmt: skip
_BOOST = (
    (0, 160), (18, 165), (18.5, -60), (25, -40), (26, 150), (36, 165), (36.4, -60), (46, -30),
    (47, 150), (58, 60), (66, 60), (67, 150), (72, 165), (72.4, -60), (80, -20), (81, 150),
    (90, 160),
)  # fmt: skip


def make_spec() -> EngineSpec:
    """The spec of the invented engine."""
    return parse_spec(SPEC, source="season")


def oil_pressure_kpa(rpm: FloatArray, oil_c: FloatArray) -> FloatArray:
    """Steady pressure of the invented engine: pump and bearings under a soft relief valve, kPa."""
    free = 0.11 * rpm * np.exp(-(oil_c - 90.0) / 60.0)
    return free / (1.0 + (free / 560.0) ** 6) ** (1 / 6)


def make_run(samples: int, *, seed: int = 1) -> Run:
    """Make a run of `samples` at RATE_HZ, with some of every kind of harm.

    Of every eight laps one has an over-rev, one an overboost, one a warm spell and two a surge of
    the oil pickup in the long left-hander; a few samples a thousand seconds are bad.
    """
    rng = np.random.default_rng(seed)
    time_s = np.arange(samples) / RATE_HZ
    on_track = time_s - OUT_S
    phase_s = np.where(on_track > 0, on_track, 0) % LAP_S
    lap = np.where(on_track > 0, on_track // LAP_S, -1).astype(np.int64)

    def around(points: tuple[tuple[float, float], ...]) -> FloatArray:
        x, y = np.array(points).T
        return np.interp(phase_s, x, y)

    def bump(every: int, remainder: int, at_s: float, half_s: float) -> FloatArray:
        """A triangle of height 1 in those laps whose number leaves the remainder."""
        shape = np.clip(1.0 - np.abs(phase_s - at_s) / half_s, 0.0, None)
        return np.where((lap >= 0) & (lap % every == remainder), shape, 0.0)

    rpm = np.where(lap >= 0, around(_RPM), 1100.0) + 700.0 * bump(8, 3, 18.0, 0.6)
    rpm = np.where(time_s < 5.0, 0.0, np.where(time_s < 6.0, 250.0, rpm))
    boost = np.where(lap >= 0, around(_BOOST), -55.0) + 45.0 * bump(8, 1, 34.0, 1.5)
    lateral = np.where(lap >= 0, around(_LATERAL), 0.0)
    oil_c = 105.0 - 75.0 * np.exp(-time_s / 240.0) + 3.0 * np.sin(2 * np.pi * phase_s / LAP_S)
    coolant_c = 92.0 - 60.0 * np.exp(-time_s / 120.0) + 24.0 * bump(8, 6, 45.0, 20.0)
    surge = 0.7 * (bump(8, 2, 63.0, 1.0) + bump(8, 5, 63.0, 1.5))
    pressure = oil_pressure_kpa(rpm, oil_c) * (1.0 - surge)

    drawn = {
        "rpm": (rpm, 12.0 * (rpm > 500), 1.0),
        "oil_pressure": (pressure, 0.008 * pressure, 0.1),
        "oil_temperature": (oil_c, 0.05, 0.01),
        "coolant_temperature": (coolant_c, 0.05, 0.01),
        "boost": (boost, 1.0, 0.1),
        "lateral_g": (lateral, 0.03, 0.001),
    }
    signals = {}
    for name, (clean, noise, resolution) in drawn.items():
        noisy = clean + noise * rng.standard_normal(samples)
        flags = np.full(samples, GOOD, dtype=np.uint8)
        flags[rng.integers(0, samples, size=samples // 50_000)] = BAD
        values = np.float32(np.round(noisy / resolution) * resolution)
        unit = channels()[name].unit.symbol
        signals[name] = Signal(values, flags, unit, RATE_HZ, name)
    info = RunInfo(
        run_id=f"r{seed:015d}",
        engine_id="invented",
        started_at=datetime(2026, 5, 1, 9, 0, tzinfo=UTC),
        start_basis="stated",
        source_name="invented.csv",
        source_sha256="0" * 64,
        dialect=(),
        conversions=(),
        warnings=(),
        max_gap_s=0.5,
    )
    return Run(info, time_s, signals)
