"""The next runs, drawn from those there were."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from babbitt.damage.ledger import column_of
from babbitt.model.damage_modes import causes
from babbitt.outlook.ahead import FUTURES, LEAST_RUNS, MOST_RUNS, draw_ahead, pool_of
from made_lives import a_ledger, day

STARVED = column_of("oil_starvation")
NO_RATES = np.zeros(len(causes()))
RUNS = [{"running": 1.0, "oil_starvation": float(n)} for n in range(12)]


def test_the_next_runs_are_like_those_of_the_build_where_these_suffice() -> None:
    ledger = a_ledger(*RUNS)
    pool = pool_of(ledger, day(12 - LEAST_RUNS), None, [ledger])
    assert pool.source == "build"
    assert pool.doses[:, STARVED].tolist() == [float(n) for n in range(12 - LEAST_RUNS, 12)]


def test_else_like_those_of_the_engine_and_else_of_its_fleet() -> None:
    ledger, mate = a_ledger(*RUNS), a_ledger(*RUNS[:2], engine_id="E2")
    fleet = [ledger, mate]
    assert pool_of(ledger, day(9), None, fleet).source == "engine"
    assert pool_of(ledger, day(9), None, fleet).runs == 12
    assert pool_of(mate, day(0), None, fleet).source == "fleet"
    assert pool_of(mate, day(0), None, fleet).runs == 14


def test_runs_that_nobody_logged_or_that_came_later_say_nothing() -> None:
    ledger = a_ledger(*RUNS)
    unlogged = replace(ledger, logged=np.arange(12) >= 4)
    pool = pool_of(unlogged, day(0), day(10), [unlogged])
    assert pool.doses[:, STARVED].tolist() == [4.0, 5.0, 6.0, 7.0, 8.0, 9.0]


def test_futures_have_the_mean_and_spread_of_the_runs() -> None:
    ledger = a_ledger(*RUNS)
    ahead = draw_ahead(pool_of(ledger, day(0), None, [ledger]), NO_RATES, runs=4)
    after_4 = ahead.after(4)["oil_starvation"]
    assert after_4.shape == (FUTURES,)
    mean, spread = np.mean(range(12)), np.std(range(12))
    assert after_4.mean() == pytest.approx(4 * mean, abs=4 * 2 * spread / np.sqrt(FUTURES))
    assert after_4.std() == pytest.approx(2 * spread, rel=0.1)
    assert set(ahead.after(1)["oil_starvation"]) <= set(range(12))
    assert ahead.revolutions[-1].tolist() == [4000.0] * FUTURES


def test_the_same_runs_give_the_same_futures() -> None:
    ledger = a_ledger(*RUNS)
    pool = pool_of(ledger, day(0), None, [ledger])
    first, second = (draw_ahead(pool, NO_RATES, runs=3) for _ in range(2))
    assert np.array_equal(first.doses, second.doses)


def test_a_dose_that_could_not_be_seen_is_drawn_around_the_usual_rate() -> None:
    ledger = a_ledger(*({"running": 2.0} for _ in range(LEAST_RUNS)))
    unwatched = np.zeros_like(ledger.unwatched_h)
    unwatched[:, STARVED] = 2.0
    ledger = replace(ledger, unwatched_h=unwatched)
    rates = NO_RATES.copy()
    rates[STARVED] = 30.0
    after = draw_ahead(pool_of(ledger, day(0), None, [ledger]), rates, runs=1).after(1)
    assert after["oil_starvation"].mean() == pytest.approx(60.0, rel=0.15)
    assert after["oil_starvation"].std() == pytest.approx(60.0, rel=0.2)


def test_without_any_run_nothing_is_added() -> None:
    ledger = a_ledger()
    ahead = draw_ahead(pool_of(ledger, None, None, [ledger]), NO_RATES, runs=MOST_RUNS)
    assert not ahead.doses.any()
