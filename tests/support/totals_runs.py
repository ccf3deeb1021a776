"""Invented runs and an engine spec for the tests of totals."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from babbitt.model.channels import channels
from babbitt.model.engine_running import gap_above_s
from babbitt.model.engine_spec import parse_spec
from babbitt.model.run import GOOD, MISSING, Run, RunInfo, Signal

SPEC = parse_spec(
    """
    [engine]
    type = "short-stroke four"
    cylinders = 4
    bore_mm = 86.0
    stroke_mm = 86.0
    rod_length_mm = 138.5
    idle_rpm = 1100
    [over_rev]
    redline_rpm = 7600
    mechanical_rpm = 8300
    [oil_temperature]
    limit_c = 135.0
    [coolant_temperature]
    limit_c = 108.0
    cap_kpa = 110.0
    glycol_percent = 0
    [boost]
    limit_kpa = 180.0
    [life]
    over_rev = 900.0
    oil_starvation = 400.0
    """,
    source="invented.toml",
)

INFO = RunInfo(
    run_id="r0123456789abcde",
    engine_id="E1",
    started_at=datetime(2025, 5, 3, 9, 30, tzinfo=UTC),
    start_basis="log",
    source_name="a.csv",
    source_sha256="0" * 64,
    dialect=("comma, decimal point",),
    conversions=(),
    warnings=(),
    max_gap_s=0.5,
)


def make_run(time_s, **values):
    """A run of canonical channels; NaN is missing, everything else good."""
    signals = {}
    for name, given in values.items():
        array = np.broadcast_to(np.asarray(given, np.float32), len(time_s)).copy()
        flags = np.where(np.isnan(array), MISSING, GOOD).astype(np.uint8)
        signals[name] = Signal(array, flags, channels()[name].unit.symbol, 100.0, name)
    return Run(replace(INFO, max_gap_s=gap_above_s(time_s)), time_s, signals)
