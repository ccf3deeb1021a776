"""A log of laps of an invented circuit, with harm in one corner."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from planted_circuits import CIRCUITS, Logged, drive


def log_of_laps(path: Path, day: int, seed: int = 3, laps: int = 5) -> Path:
    """Write laps of a circuit with an over-rev in the middle of its second corner, each lap."""
    planted = drive(CIRCUITS[0], laps, Logged(hz=10.0), np.random.default_rng(seed))
    run = planted.run
    corner = np.interp(run.time_s, planted.time_s, planted.corner)
    racing = np.interp(run.time_s, planted.time_s, planted.racing) > 0.99
    rpm = np.where((corner == 2) & racing, 9000.0, 5000.0 + 40.0 * np.sin(run.time_s))
    rpm = np.convolve(rpm, np.ones(11) / 11, mode="same")
    rows = zip(run.time_s, rpm, run.signals["lateral_g"].values, strict=True)
    lines = [f"{t:.2f},{n:.0f},{g:.3f}" for t, n, g in rows]
    text = "\n".join(
        [f"Date: 2026-05-{day:02d}", "Start: 10:00:00", "", "Time [s],RPM,Lateral G [g]"]
    )
    path.write_text("\n".join([text, *lines]) + "\n", encoding="utf-8")
    return path
