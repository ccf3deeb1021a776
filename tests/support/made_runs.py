"""Small made-up runs for the tests of detection."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from babbitt.model.channels import channels
from babbitt.model.engine_spec import parse_spec
from babbitt.model.run import BAD, GOOD, MISSING, Run, RunInfo, Signal
from invented import SPEC

# A warm engine on a straight, nothing wrong with it.
CALM = {
    "rpm": 6000.0,
    "oil_pressure": 450.0,
    "oil_temperature": 100.0,
    "coolant_temperature": 90.0,
    "boost": 120.0,
    "lateral_g": 0.0,
}


def make_spec(more: str = ""):
    return parse_spec(SPEC + more, source="test")


def make_run(seconds=20.0, hz=50.0, *, bad=None, without=(), native_hz=None, time_s=None, **values):
    """Make a calm run; each keyword sets a channel to a number, an array or a function of time.

    `bad` maps a channel to a mask or slice of bad samples; NaN is flagged missing.
    """
    t = np.arange(round(seconds * hz) + 1) / hz if time_s is None else np.asarray(time_s, float)
    signals = {}
    for name, value in {**CALM, **values}.items():
        if name in without:
            continue
        drawn = value(t) if callable(value) else value
        samples = np.broadcast_to(np.asarray(drawn, dtype=np.float32), t.shape).copy()
        flags = np.where(np.isnan(samples), MISSING, GOOD).astype(np.uint8)
        if bad and name in bad:
            flags[bad[name]] = BAD
        rate = (native_hz or {}).get(name, hz)
        signals[name] = Signal(samples, flags, channels()[name].unit.symbol, rate, name)
    info = RunInfo(
        run_id="r1",
        engine_id="E-1",
        started_at=datetime(2026, 5, 1, tzinfo=UTC),
        start_basis="stated",
        source_name="made.csv",
        source_sha256="0" * 64,
        dialect=(),
        conversions=(),
        warnings=(),
        max_gap_s=0.5,
    )
    return Run(info, t, signals)


def pulse(base, level, start_s, stop_s):
    """A function of time: `base`, but `level` from start_s to stop_s."""
    return lambda t: np.where((t >= start_s) & (t <= stop_s), level, base)


def line(*points):
    """A function of time: the broken line through (second, value) points."""
    seconds, values = zip(*points, strict=True)
    return lambda t: np.interp(t, seconds, values)
