"""Never blind, never crying wolf, the right name: made-up logs through the whole job."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from invented import SPEC
from judged_logs import JudgedLogs

Array = npt.NDArray[np.float64]


def seconds(length_s: float, hz: float = 10.0) -> Array:
    return np.arange(round(length_s * hz)) / hz


def noise(size: float, time_s: Array, seed: int = 1) -> Array:
    return np.random.default_rng(seed).normal(0.0, size, len(time_s))


def lap_speeds(time_s: Array, low: float = 2600.0, high: float = 7400.0) -> Array:
    """Engine speed of a car on a circuit: up and down, steady now and then."""
    knots = np.arange(0.0, time_s[-1] + 8.0, 4.0)
    levels = np.random.default_rng(5).uniform(low, high, len(knots))
    held = np.column_stack([knots, knots + 3.0]).ravel(), np.repeat(levels, 2)
    return np.interp(time_s, *held)


def usual(time_s: Array, kpa_per_1000: float, relief: float = 480.0) -> dict[str, Array]:
    """A warm engine on a circuit, with a straight in every ten seconds and no harm."""
    rpm = lap_speeds(time_s)
    warm = 80.0 + 25.0 * np.minimum(time_s / 200.0, 1.0)
    pressure = np.minimum(rpm / 1000.0 * kpa_per_1000, relief)
    return {
        "rpm": rpm + noise(8.0, time_s),
        "oil_pressure": pressure + noise(2.0, time_s, 2),
        "oil_temperature": warm + noise(0.2, time_s, 3),
        "lateral_g": np.where(time_s % 10.0 < 4.0, 1.1, 0.0) + noise(0.03, time_s, 4),
    }


def between(time_s: Array, start_s: float, stop_s: float) -> npt.NDArray[np.bool_]:
    return (time_s >= start_s) & (time_s <= stop_s)


@pytest.fixture
def logs(tmp_path: Path) -> JudgedLogs:
    return JudgedLogs(tmp_path)


# Never blind.


def test_two_and_a_half_minutes_without_pressure_at_one_hertz(logs: JudgedLogs) -> None:
    t = seconds(900.0, 1.0)
    rpm = 2000.0 + 150.0 * np.sin(t / 7.0) + noise(10.0, t)
    lost = between(t, 400.0, 550.0)
    pressure = np.where(lost, 40.0 + 40.0 * np.sin(t / 11.0), 235.0 + noise(4.0, t, 2))
    run = logs.take_in(t, {"rpm": rpm, "oil_pressure": pressure})
    found = logs.events(run)
    assert {each.kind for each in found} == {"low_oil_pressure"}
    assert sum(each.duration_s for each in found) > 100.0
    assert all(399.0 <= each.start_s <= each.end_s <= 551.0 for each in found)


@pytest.mark.parametrize(("speed", "usually"), [(2400.0, 240.0), (1050.0, 110.0)])
@pytest.mark.parametrize("hz", [1.0, 2.0, 10.0, 50.0])
def test_a_minute_without_pressure_at_a_speed_below_that_of_the_floor(
    logs: JudgedLogs, speed: float, usually: float, hz: float
) -> None:
    t = seconds(300.0, hz)
    pressure = np.where(between(t, 120.0, 180.0), 20.0, usually) + noise(1.5, t)
    channels = {"rpm": speed + noise(6.0, t, 2), "oil_pressure": pressure, "oil_temperature": 95.0}
    (event,) = logs.events(logs.take_in(t, channels))
    assert event.kind == "low_oil_pressure"
    assert event.duration_s == pytest.approx(60.0, abs=max(1.0, 2.0 / hz))


def test_three_seconds_at_speed_without_pressure_after_a_start(logs: JudgedLogs) -> None:
    t = seconds(60.0, 20.0)
    rpm = np.interp(t, [0, 10.0, 10.3, 10.6, 40], [0, 0, 1200, 3500, 3500]) + noise(3.0, t)
    pressure = np.where(t < 13.1, 0.0, 260.0) + np.abs(noise(1.0, t, 2))
    (event,) = logs.events(logs.take_in(t, {"rpm": np.maximum(rpm, 0.0), "oil_pressure": pressure}))
    assert event.kind == "dry_start"
    assert event.duration_s == pytest.approx(2.9, abs=0.25)
    assert event.dose == pytest.approx(2.9 * 3500 / 60 / 0.5, rel=0.2)


@pytest.mark.parametrize("until_s", [0.8, 1.5])
def test_a_start_whose_pressure_stands_soon_is_nothing(logs: JudgedLogs, until_s: float) -> None:
    t = seconds(60.0, 20.0)
    rpm = np.interp(t, [0, 10.0, 10.3, 40], [0, 0, 1200, 1200])
    pressure = np.where(t < 10.1 + until_s, 0.0, 190.0)
    assert logs.events(logs.take_in(t, {"rpm": rpm, "oil_pressure": pressure})) == []


@pytest.mark.parametrize("without", ["oil_temperature", "lateral_g"])
def test_a_missing_channel_widens_and_does_not_switch_off(logs: JudgedLogs, without: str) -> None:
    t = seconds(600.0)
    logs.take_in(t, usual(t, 75.0))
    channels = usual(t, 75.0)
    channels["oil_pressure"][between(t, 300.0, 306.0)] *= 0.3
    del channels[without]
    found = logs.events(logs.take_in(t, channels))
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(300.0, abs=0.5)
    assert found[0].confidence.level == "low"


# Never crying wolf.


@pytest.mark.parametrize(("kpa_per_1000", "relief"), [(65.0, 600.0), (75.0, 405.0)])
def test_an_engine_that_reads_what_it_always_read_is_silent(
    logs: JudgedLogs, kpa_per_1000: float, relief: float
) -> None:
    t = seconds(600.0)
    first = logs.take_in(t, usual(t, kpa_per_1000, relief))
    second = logs.take_in(t, usual(t, kpa_per_1000, relief))
    assert logs.events(first) == []
    assert logs.events(second) == []


@pytest.mark.parametrize("kpa", [45.0, 60.0])
def test_a_hot_idle_is_silent(logs: JudgedLogs, kpa: float) -> None:
    t = seconds(600.0)
    logs.take_in(t, usual(t, 75.0))
    channels = {
        "rpm": 950.0 + noise(25.0, t),
        "oil_pressure": kpa + noise(3.0, t, 2),
        "oil_temperature": 128.0 + noise(0.2, t, 3),
        "lateral_g": noise(0.02, t, 4),
    }
    assert logs.events(logs.take_in(t, channels)) == []


def test_a_stuck_engine_speed_is_no_low_pressure(logs: JudgedLogs) -> None:
    t = seconds(600.0)
    logs.take_in(t, usual(t, 75.0))
    channels = usual(t, 75.0)
    channels["rpm"][t > 300.0] = 6800.0
    assert [e for e in logs.events(logs.take_in(t, channels)) if e.confidence.level == "high"] == []


def test_a_coarse_sensor_at_steady_speed_is_not_stuck(logs: JudgedLogs) -> None:
    t = seconds(3 * 3600.0, 1.0)
    channels = {
        "rpm": 2200.0 + noise(4.0, t),
        "oil_pressure": np.round((240.0 + noise(0.7, t, 2)) / 4.0) * 4.0,
        "oil_temperature": 92.0 + noise(0.3, t, 3),
    }
    run_id = logs.take_in(t, channels)
    run = logs.book.read_run("E1", run_id)
    assert logs.events(run_id) == []
    assert run.signals["oil_pressure"].usable().mean() > 0.99
    assert not any("stuck" in warning or "stood still" in warning for warning in run.info.warnings)


# The right name.


def test_a_pump_that_is_tired_everywhere_starves_no_corner(logs: JudgedLogs) -> None:
    t = seconds(600.0)
    logs.take_in(t, usual(t, 75.0))
    channels = usual(t, 75.0)
    channels["oil_pressure"] = channels["oil_pressure"] * 0.68
    found = logs.events(logs.take_in(t, channels))
    assert {each.kind for each in found} == {"low_oil_pressure"}


def test_what_a_corner_takes_from_a_tired_pump_is_starvation(logs: JudgedLogs) -> None:
    t = seconds(600.0)
    logs.take_in(t, usual(t, 75.0))
    channels = usual(t, 75.0)
    channels["oil_pressure"] = channels["oil_pressure"] * 0.85
    corner = between(t, 301.0, 303.0)
    channels["oil_pressure"][corner] *= 0.4
    found = logs.events(logs.take_in(t, channels))
    assert [(each.kind, each.direction) for each in found] == [("oil_starvation", "left")]


def test_a_wrong_downshift_is_driven_though_nothing_but_speed_is_logged(tmp_path: Path) -> None:
    logs = JudgedLogs(tmp_path, SPEC)
    t = seconds(120.0, 50.0)
    rpm = np.interp(t, [0, 60.0, 60.35, 60.8, 120], [5200, 5200, 8600, 6800, 5200])
    (event,) = logs.events(logs.take_in(t, {"rpm": rpm + noise(5.0, t)}))
    assert (event.kind, event.cause, event.confidence.level) == ("over_rev", "driven", "high")
