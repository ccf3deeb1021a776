"""Doses of events, from a log to what was found, against values published elsewhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from invented import SPEC
from judged_logs import JudgedLogs, lively


def seconds(length_s: float) -> np.ndarray:
    return np.arange(round(length_s * 20.0) + 1) / 20.0


def test_the_viscosity_of_an_oil_between_two_known_points(tmp_path: Path) -> None:
    """32 mm²/s at 40 °C and 5.4 at 100 °C are 8.533 at 80 °C: a worked sheet on ASTM D341.

    Warm is 120 °C here, so that a turn at 100 °C counts as it is.
    """
    oil = "[oil]\nviscosity_40c_mm2_s = 32.0\nviscosity_100c_mm2_s = 5.4\n"
    spec = SPEC.replace("limit_c = 135.0", "limit_c = 135.0\nwarm_c = 120.0") + oil
    t = seconds(20.0)
    doses = {}
    for oil_c in (80.0, 100.0):
        logs = JudgedLogs(tmp_path / f"{oil_c:.0f}", spec)
        run = logs.take_in(t, {"rpm": 6000.0, "oil_temperature": oil_c, "boost": 0.0})
        (event,) = logs.events(run)
        assert event.kind == "cold_load"
        doses[oil_c] = event.dose
    assert doses[80.0] / doses[100.0] == pytest.approx(8.533 / 5.4, rel=1e-3)
    assert doses[100.0] == pytest.approx(20.0 * 6000.0 / 60.0, rel=1e-3)


def test_shares_of_life_add_up_by_palmgren_and_miner(tmp_path: Path) -> None:
    """Three stresses with lives of 50,000, 6,500 and 1,000 h, held 40, 15 and 5 min a cycle, take
    shares of 0.0986717, 0.28463 and 0.6166983 of the damage (documentation of the Python library
    reliability, after Modarres, Amiri and Jackson 2017, pp. 33-37).

    By Basquin, with exponent m, a life of 1/50 is a stress of 50^(1/m) times; a speed of half that
    power. Time scales: minutes are seconds here, and turns a second are taken out.
    """
    lives_h, held = np.array([50_000.0, 6_500.0, 1_000.0]), np.array([40.0, 15.0, 5.0])
    exponent = 12.0
    spec = SPEC.replace(
        "mechanical_rpm = 8300", f"mechanical_rpm = 12000\nfatigue_exponent = {exponent}"
    )
    speeds = 7700.0 * (lives_h[0] / lives_h) ** (1.0 / (2.0 * exponent))
    doses = []
    for n, (rpm, seconds_held) in enumerate(zip(speeds, held, strict=True)):
        logs = JudgedLogs(tmp_path / str(n), spec)
        run = logs.take_in(seconds(seconds_held), {"rpm": float(rpm), "throttle": 90.0})
        (event,) = logs.events(run)
        assert event.kind == "over_rev"
        doses.append(event.dose / (rpm / 60.0))
    shares = np.array(doses) / sum(doses)
    assert shares == pytest.approx([0.0986717, 0.28463, 0.6166983], rel=2e-3)


def test_left_is_positive(tmp_path: Path) -> None:
    """Lateral acceleration is positive to the left: ISO 8855, y axis."""
    t = seconds(30.0)
    starving = (t > 15.0) & (t < 17.0)
    for sign, side in ((1.0, "left"), (-1.0, "right")):
        logs = JudgedLogs(tmp_path / side)
        channels = {
            "rpm": 6000.0,
            "oil_pressure": lively(np.where(starving, 150.0, 500.0)),
            "lateral_g": np.where((t > 13.0) & (t < 20.0), sign * 1.2, 0.0),
        }
        (event,) = logs.events(logs.take_in(t, channels))
        assert (event.kind, event.side) == ("oil_starvation", side)
