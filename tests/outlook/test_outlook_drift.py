"""Drift of oil pressure since the refresh, planted and found again."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.outlook.drift import Drift, SteadyRun, pressure_drift
from babbitt.present.outlook_words import drift_sentence

POINTS = np.array([(3000.0, 90.0), (6000.0, 110.0), (6200.0, 112.0), (5800.0, 108.0)])


def a_run(hours: float, log_ratio: float, *, points=POINTS, seconds=20.0, noise=None) -> SteadyRun:
    ratio = np.full(len(points), log_ratio) + (0.0 if noise is None else noise)
    rpm, oil_c = points.T
    return SteadyRun(f"r{hours}", hours, rpm, oil_c, np.full(len(points), seconds), ratio)


def season(per_hour: float, *, runs: int = 8, spread: float = 0.0, seed: int = 0):
    rng = np.random.default_rng(seed)
    hours = np.sort(rng.uniform(0.0, 10.0, runs))
    return [a_run(h, per_hour * h + rng.normal(0.0, spread)) for h in hours], hours[-1]


def drift_of(runs, above_rpm=2500.0) -> Drift:
    found = pressure_drift(runs, above_rpm=above_rpm)
    assert found is not None
    return found


def test_a_planted_drift_is_found_at_the_point_where_most_running_was() -> None:
    runs, last = season(-0.005)
    found = drift_of(runs)
    assert (found.rpm, found.oil_c) == (6000.0, 110.0)
    assert found.change == pytest.approx(np.expm1(-0.005 * last))
    assert found.low < found.change < found.high < 0.0
    assert found.falling
    assert found.runs == 8


def test_a_steady_pressure_has_not_drifted() -> None:
    runs, _ = season(0.0, spread=0.015, seed=4)
    found = drift_of(runs)
    assert found.low < 0.0 < found.high
    assert not found.falling


def test_intervals_cover_nine_in_ten_truths() -> None:
    covered = []
    for seed in range(300):
        runs, last = season(-0.006, runs=3 + seed % 6, spread=0.015, seed=seed)
        found = drift_of(runs)
        covered.append(found.low <= np.expm1(-0.006 * last) <= found.high)
    assert 0.85 <= np.mean(covered) <= 0.97


def test_one_odd_run_does_not_make_a_drift() -> None:
    runs, _ = season(0.0, runs=9, spread=0.003, seed=2)
    runs[6] = a_run(runs[6].hours, -0.25)
    assert abs(drift_of(runs).change) < 0.03


def test_one_odd_bin_does_not_move_its_run() -> None:
    runs, last = season(-0.005)
    runs = [a_run(r.hours, -0.005 * r.hours, noise=np.array([0, 0.4, 0, 0])) for r in runs]
    assert drift_of(runs).change == pytest.approx(np.expm1(-0.005 * last))


def test_two_runs_are_not_taken_at_their_word() -> None:
    found = drift_of([a_run(1.0, 0.0), a_run(9.0, -0.04)])
    assert found.runs == 2
    assert found.high - found.low > 0.08


@pytest.mark.parametrize(
    "runs",
    [
        [],
        [a_run(1.0, 0.0)],
        [a_run(1.0, 0.0), a_run(1.0, -0.1)],
        [a_run(1.0, 0.0), a_run(5.0, -0.1, seconds=0.25)],
        [a_run(1.0, 0.0), a_run(5.0, -0.1, points=POINTS - [3000.0, 60.0])],
    ],
    ids=["none", "one", "one moment", "hardly any running", "nothing in common"],
)
def test_no_drift_is_told_where_runs_cannot_be_compared(runs) -> None:
    assert pressure_drift(runs, above_rpm=2500.0) is None


def test_slow_running_says_nothing() -> None:
    runs = [a_run(h, -0.1 * h, points=POINTS[:1]) for h in (1.0, 2.0, 3.0)]
    assert pressure_drift(runs, above_rpm=3500.0) is None


@pytest.mark.parametrize(
    ("change", "low", "high", "text"),
    [
        (
            -0.05,
            -0.07,
            -0.03,
            (
                "Oil pressure is 5 % lower at 6,000 rpm and 110 °C than when fresh, 90 % interval "
                "3-7 % (9 runs)."
            ),
        ),
        (
            -0.02,
            -0.05,
            0.01,
            (
                "Oil pressure is 2 % lower at 6,000 rpm and 110 °C than when fresh, 90 % interval "
                "5 % lower to 1 % higher (9 runs)."
            ),
        ),
        (
            0.001,
            -0.02,
            0.03,
            (
                "Oil pressure at 6,000 rpm and 110 °C is as when fresh, 90 % interval 2 % lower to "
                "3 % higher (9 runs)."
            ),
        ),
    ],
)
def test_the_statement_is_plain(change, low, high, text) -> None:
    drift = Drift(6000.0, 110.0, change, low, high, hours=9.0, runs=9)
    assert drift_sentence(drift, "6,000", "110 °C") == text
