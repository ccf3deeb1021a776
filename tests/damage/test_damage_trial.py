"""The damage model on simulated fleets whose truth is known.

Counting hours means the same model with running time as its only cause. One who knows has the true
lives. Even one who has only the builder's guess at them, but knows that doses do the damage, cannot
come as near: that is what thirty teardowns leave open, however they are read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from babbitt.damage.chance import chance, chances, shares
from babbitt.damage.doubt import weigh_together
from babbitt.damage.life import DOUBT
from babbitt.damage.model import Load
from babbitt.damage.posterior import Fit, fit, learn, weigh
from babbitt.damage.prior import running_prior
from fleet import (
    EVEN,
    MODES,
    STRIP_INTERVAL_H,
    UNEVEN,
    Unlike,
    World,
    believed,
    draw_fleet,
    draw_lives,
    draw_looks,
    draw_questions,
    draw_truth,
)


@dataclass(frozen=True)
class Trial:
    """How well the model did; squared distances are those of forecasts to the true chances."""

    squared_distance: float
    squared_distance_of_hours: float
    first_cause_right: float
    right_for_one_who_knows: float
    right_for_one_who_knows_that_doses_do_it: float


def run_trial(
    world: World, *, engines: int, teardowns: int, seeds: range, unlike: Unlike = EVEN
) -> Trial:
    ours, of_hours, right, known_right, without_doubt = [], [], [], [], []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        fleet = draw_fleet(rng, engines, teardowns, unlike)
        questions = draw_questions(rng, fleet, 40)
        lives = draw_lives(rng, world)
        truths = [draw_truth(rng, mode, world) for mode in MODES]
        found = [draw_looks(rng, truth, fleet.builds) for truth in truths]
        fits = [fit(believed(mode, lives), looks) for mode, looks in zip(MODES, found, strict=True)]
        for truth, looks, fitted, posterior in zip(
            truths, found, fits, weigh_together(fits), strict=True
        ):
            undoubting = weigh(Fit(fitted.priors[:1], fitted.samples[:1], 0, 0), [1.0])
            by_hours = learn([running_prior(STRIP_INTERVAL_H)], looks)
            true = np.array([truth.chance(doses) for doses in questions])
            for learned, distances in ((posterior, ours), (by_hours, of_hours)):
                told = chances([(learned, Load(doses)) for doses in questions])
                distances += ((np.array([each.worn.p for each in told]) - true) ** 2).tolist()
            for look in looks:
                if look.damaged:
                    true_shares = truth.shares(look.load.doses)
                    known_right.append(max(true_shares.values()))
                    for learned, named in ((posterior, right), (undoubting, without_doubt)):
                        blamed = shares(learned, look.load)
                        first = max(blamed, key=lambda cause: blamed[cause].p)
                        named.append(true_shares.get(first, 0.0))
    values = ours, of_hours, right, known_right, without_doubt
    return Trial(*(float(np.mean(each)) for each in values))


def gain_over_hours(trial: Trial) -> float:
    """Share of what perfect knowledge adds over counting hours."""
    return 1.0 - trial.squared_distance / trial.squared_distance_of_hours


@pytest.fixture(scope="module")
def thirty_teardowns() -> Trial:
    return run_trial("guessed", engines=10, teardowns=3, seeds=range(8))


@pytest.fixture(scope="module")
def thirty_uneven_teardowns() -> Trial:
    return run_trial("guessed", engines=10, teardowns=3, seeds=range(12), unlike=UNEVEN)


@pytest.fixture(scope="module")
def two_hundred_teardowns() -> Trial:
    return run_trial("doses", engines=50, teardowns=4, seeds=range(2))


def test_thirty_teardowns_give_most_of_what_perfect_knowledge_adds_over_hours(
    thirty_teardowns: Trial,
) -> None:
    assert gain_over_hours(thirty_teardowns) >= 0.70


def test_two_hundred_teardowns_give_nearly_all_of_it(two_hundred_teardowns: Trial) -> None:
    assert gain_over_hours(two_hundred_teardowns) >= 0.90


@pytest.mark.parametrize("fleet", ["thirty_uneven_teardowns", "two_hundred_teardowns"])
def test_the_right_cause_comes_first_as_for_one_who_knows(fleet, request) -> None:
    trial = request.getfixturevalue(fleet)
    assert trial.first_cause_right >= trial.right_for_one_who_knows - 0.04


def test_where_doses_are_even_doubt_costs_little_of_what_can_be_known(
    thirty_teardowns: Trial,
) -> None:
    possible = thirty_teardowns.right_for_one_who_knows_that_doses_do_it
    assert possible < thirty_teardowns.right_for_one_who_knows - 0.02
    assert thirty_teardowns.first_cause_right >= possible - 0.015


def test_no_worse_than_hours_where_only_hours_do_the_damage() -> None:
    trial = run_trial("running", engines=50, teardowns=4, seeds=range(2))
    assert trial.squared_distance <= 1.02 * trial.squared_distance_of_hours


def test_hardly_worse_than_hours_while_it_is_still_learning_that_only_hours_do() -> None:
    trial = run_trial("running", engines=10, teardowns=3, seeds=range(8))
    assert trial.squared_distance <= 1.1 * trial.squared_distance_of_hours


def test_intervals_cover_nine_in_ten_truths() -> None:
    covered = []
    for seed in range(160):
        rng = np.random.default_rng(1000 + seed)
        mode = MODES[seed % len(MODES)]
        fleet = draw_fleet(rng, 10, 3)
        truth = draw_truth(rng, mode, "running" if rng.random() < DOUBT else "doses")
        beliefs = believed(mode, draw_lives(rng, "doses"))
        posterior = learn(beliefs, draw_looks(rng, truth, fleet.builds))
        for doses in draw_questions(rng, fleet, 5):
            estimate = chance(posterior, Load(doses)).worn
            covered.append(estimate.low <= truth.chance(doses) <= estimate.high)
    assert 0.85 <= np.mean(covered) <= 0.95
