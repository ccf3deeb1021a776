"""Oil pressure by corner: a planted loss is found in its corner, and nothing where nothing is."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.laps.compare import compare_corners, corner_samples
from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from made_runs import make_run
from planted_circuits import CIRCUITS, Logged, drive


def samples_of(seed: int, *, missing_kpa: float = 0.0, corner: int = 3, celsius: float = 95.0):
    """Samples of a run whose pressure follows engine speed, with a loss in one corner."""
    random = np.random.default_rng(seed)
    planted = drive(CIRCUITS[0], 6, Logged(hz=20.0), random)
    run = planted.run
    rpm = 5000.0 + 900.0 * np.sin(0.3 * run.time_s)
    lap_off = np.interp(run.time_s, planted.time_s, np.floor(planted.lap)) % 3
    here = np.round(np.interp(run.time_s, planted.time_s, planted.corner)) == corner
    pressure = 0.08 * rpm + 2.0 * lap_off + random.normal(0.0, 4.0, run.samples)
    made = make_run(
        time_s=run.time_s,
        rpm=rpm,
        lateral_g=run.signals["lateral_g"].values,
        oil_pressure=pressure - missing_kpa * here,
        oil_temperature=celsius,
    )
    layout = find_layout(motion_of([made]))
    assert layout is not None
    found = corner_samples([made], layout)
    assert found is not None
    return found


def test_a_loss_in_one_corner_is_found_there() -> None:
    changes = compare_corners(samples_of(1), samples_of(2, missing_kpa=40.0))
    by_corner = {each.corner: each for each in changes}
    assert by_corner[3].word == "lower"
    assert by_corner[3].change_kpa == pytest.approx(-40.0, abs=12.0)
    assert all(abs(each.change_kpa) < 6.0 for number, each in by_corner.items() if number != 3)


def test_nothing_is_said_of_what_was_at_another_temperature() -> None:
    assert compare_corners(samples_of(1), samples_of(2, celsius=120.0)) == ()


def test_swapping_the_runs_turns_the_change_over() -> None:
    one, two = samples_of(1), samples_of(2, missing_kpa=40.0)
    there = {each.corner: each.change_kpa for each in compare_corners(one, two)}
    back = {each.corner: each.change_kpa for each in compare_corners(two, one)}
    assert back[3] == pytest.approx(-there[3], abs=3.0)
