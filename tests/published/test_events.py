"""What events weigh, from logs to doses, against published figures and definitions."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from babbitt.model.event import Event
from invented import SPEC
from judged_logs import JudgedLogs

pytestmark = pytest.mark.published

T = np.arange(0.0, 60.01, 0.05)
HELD = (T >= 30.0) & (T < 40.0)
OIL_32_5_4 = "[oil]\nviscosity_40c_mm2_s = 32.0\nviscosity_100c_mm2_s = 5.4\n"


def held(level: float, calm: float) -> np.ndarray:
    """A level for ten seconds out of sixty, reached within a sample."""
    return np.where(HELD, level, calm)


def found(folder: Path, spec: str = SPEC, **channels: np.ndarray | float) -> Event:
    """The one event of an engine that runs at 5,000 1/min unless it is said otherwise."""
    logs = JudgedLogs(folder, spec)
    (event,) = logs.events(logs.take_in(T, {"rpm": 5000.0, **channels}))
    return event


def test_starved_of_thin_oil_by_its_viscosity(tmp_path: Path) -> None:
    """An oil of 32 mm²/s at 40 °C and 5.4 at 100 °C has 8.533 at 80 °C: a worked sheet on ASTM
    D341. Without half of its pressure a turn counts half as often as without all: at 100 °C, ten
    seconds at 5,000 1/min are 10 x 5,000 / 60 / 2 turns (definition)."""
    doses = {
        oil_c: found(
            tmp_path / f"{oil_c:.0f}",
            SPEC + OIL_32_5_4,
            oil_temperature=oil_c,
            oil_pressure=held(0.5 * 345.0, 500.0),
            lateral_g=0.9,
        ).dose
        for oil_c in (80.0, 100.0)
    }
    assert doses[100.0] / doses[80.0] == pytest.approx(8.533 / 5.4, rel=5e-3)
    assert doses[100.0] == pytest.approx(10.0 * 5000.0 / 60.0 * 0.25 / 0.5, rel=0.02)


def test_oil_must_be_pressed_into_a_turning_pin(tmp_path: Path) -> None:
    """At 5,000 1/min a radius of 27.5 mm has a head of 88.115 kPa against oil of 850 kg/m³ (first
    principles: rho w² r² / 2). What a turn counts by is 2 s², s = 1 - (P - head) / (345 kPa - head)
    with the floor line of 69 kPa per 1,000 1/min expected; solved for the head here."""
    spec = SPEC + "[oil_pressure]\ncrankpin_mm = 55.0\n"
    pressure_kpa, expected_kpa = 200.0, 5 * 69.0
    event = found(tmp_path, spec, oil_pressure=pressure_kpa)
    assert event.kind == "low_oil_pressure"
    turns = event.duration_s * 5000.0 / 60.0
    missing = (event.dose / turns / 2.0) ** 0.5
    head_kpa = expected_kpa - (expected_kpa - pressure_kpa) / missing
    assert head_kpa == pytest.approx(88.115, rel=2e-3)


@pytest.mark.parametrize(("over_k", "doublings"), [(10.0, 1.0), (20.0, 2.0), (30.0, 3.0)])
def test_what_oil_suffers_doubles_every_ten_degrees(
    tmp_path: Path, over_k: float, doublings: float
) -> None:
    """The rule of thumb after Arrhenius, as a rate that doubles every 10 K; its integral from the
    limit on, (2^(K/10) - 1) 10 / ln 2, is what a second counts (closed form)."""
    event = found(tmp_path, oil_temperature=135.0 + over_k)
    assert event.kind == "oil_overheat"
    assert event.peak == pytest.approx(135.0 + over_k, rel=1e-3)
    assert event.dose / event.duration_s == pytest.approx(
        (2.0**doublings - 1.0) * 10.0 / np.log(2.0), rel=0.03
    )


def test_boost_beyond_its_limit_times_how_long(tmp_path: Path) -> None:
    """Ten seconds at 20 kPa above a limit of 180 kPa are 200 kPa·s (definition)."""
    event = found(tmp_path, boost=held(200.0, 100.0))
    assert event.kind == "overboost"
    assert event.duration_s == pytest.approx(10.0, abs=0.1)
    assert event.dose == pytest.approx(200.0, rel=0.02)


def test_a_blow_past_the_mechanical_limit(tmp_path: Path) -> None:
    """Basquin alone would have (8,632 / 8,300)^10 = 1.480 between two speeds 4 % apart (closed
    form); past the mechanical limit of 8,300 1/min a turn strikes as well and counts five times."""
    doses = {
        rpm: found(tmp_path / f"{rpm:.0f}", rpm=rpm, throttle=90.0).dose / rpm
        for rpm in (8300.0, 8632.0)
    }
    assert doses[8632.0] / doses[8300.0] == pytest.approx(5.0 * 1.480, rel=0.02)
