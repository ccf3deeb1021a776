"""The damage model on simulated fleets whose truth is known.

Counting hours means the same model with running time as its only cause.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from fleet import (
    MODES,
    STRIP_INTERVAL_H,
    World,
    believed,
    draw_fleet,
    draw_looks,
    draw_questions,
    draw_truth,
)

from pipeline.damage.chance import chance, shares
from pipeline.damage.model import Load
from pipeline.damage.posterior import learn
from pipeline.damage.prior import DOUBT, running_prior


@dataclass(frozen=True)
class Trial:
    """How well the model did; squared distances are those of forecasts to the true chances."""

    squared_distance: float
    squared_distance_of_hours: float
    first_cause_right: float
    first_cause_right_for_one_who_knows: float


def run_trial(world: World, *, engines: int, teardowns: int, seeds: range) -> Trial:
    ours, of_hours, right, known_right = [], [], [], []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        fleet = draw_fleet(rng, engines, teardowns)
        questions = draw_questions(rng, fleet, 60)
        for mode in MODES:
            truth = draw_truth(rng, mode, world)
            looks = draw_looks(rng, truth, fleet.builds)
            posterior = learn(believed(mode), looks)
            by_hours = learn([running_prior(STRIP_INTERVAL_H)], looks)
            for doses in questions:
                true = truth.chance(doses)
                ours.append((chance(posterior, Load(doses)).p - true) ** 2)
                of_hours.append((chance(by_hours, Load(doses)).p - true) ** 2)
            for look in looks:
                if look.damaged:
                    true_shares = truth.shares(look.load.doses)
                    blamed = shares(posterior, look.load)
                    first = max(blamed, key=lambda cause: blamed[cause].p)
                    right.append(true_shares.get(first, 0.0))
                    known_right.append(max(true_shares.values()))
    return Trial(*(float(np.mean(values)) for values in (ours, of_hours, right, known_right)))


def gain_over_hours(trial: Trial) -> float:
    """Share of what perfect knowledge adds over counting hours."""
    return 1.0 - trial.squared_distance / trial.squared_distance_of_hours


@pytest.fixture(scope="module")
def two_hundred_teardowns() -> Trial:
    return run_trial("doses", engines=50, teardowns=4, seeds=range(3))


def test_thirty_teardowns_give_most_of_what_perfect_knowledge_adds_over_hours() -> None:
    trial = run_trial("doses", engines=10, teardowns=3, seeds=range(4))
    assert gain_over_hours(trial) >= 0.70


def test_two_hundred_teardowns_give_nearly_all_of_it(two_hundred_teardowns: Trial) -> None:
    assert gain_over_hours(two_hundred_teardowns) >= 0.90


def test_the_right_cause_comes_first_as_for_one_who_knows(two_hundred_teardowns: Trial) -> None:
    trial = two_hundred_teardowns
    assert trial.first_cause_right >= trial.first_cause_right_for_one_who_knows - 0.04


def test_no_worse_than_hours_where_only_hours_do_the_damage() -> None:
    trial = run_trial("running", engines=50, teardowns=4, seeds=range(3))
    assert trial.squared_distance <= 1.02 * trial.squared_distance_of_hours


def test_intervals_cover_nine_in_ten_truths() -> None:
    covered = []
    for seed in range(160):
        rng = np.random.default_rng(1000 + seed)
        mode = MODES[seed % len(MODES)]
        fleet = draw_fleet(rng, 10, 3)
        truth = draw_truth(rng, mode, "running" if rng.random() < DOUBT else "doses")
        posterior = learn(believed(mode), draw_looks(rng, truth, fleet.builds))
        for doses in draw_questions(rng, fleet, 5):
            estimate = chance(posterior, Load(doses))
            covered.append(estimate.low <= truth.chance(doses) <= estimate.high)
    assert 0.85 <= np.mean(covered) <= 0.95
