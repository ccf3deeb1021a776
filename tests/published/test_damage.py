"""Chances, shares, usual hours, drift and the call against published figures and definitions."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from babbitt.damage.chance import Chances, Estimate, chance, shares
from babbitt.damage.fleet import BuildSpan, Fleet
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import learn
from babbitt.damage.prior import priors_of, running_prior
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import DecisionSection, LifeSection
from babbitt.model.kinds import KINDS
from babbitt.outlook.call import decide
from babbitt.outlook.drift import SteadyRun, pressure_drift
from babbitt.outlook.forecast import EngineForecast, ModeOutlook
from babbitt.outlook.why import why
from made_lives import WIPED, a_ledger, known, like_parts, taken

pytestmark = pytest.mark.published

# Freireich et al., Blood 21 (1963) 699: weeks in remission with 6-MP and with placebo; a minus
# stands for one still in remission when last seen.
WITH_6MP = [
    6,
    6,
    6,
    -6,
    7,
    -9,
    10,
    -10,
    -11,
    13,
    16,
    -17,
    -19,
    -20,
    22,
    23,
    -25,
    -32,
    -32,
    -34,
    -35,
]
WITH_PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


@pytest.mark.parametrize(("weeks", "median"), [(WITH_6MP, 23.0), (WITH_PLACEBO, 8.0)])
def test_median_of_lives_of_which_some_go_on(weeks: list[int], median: float) -> None:
    """Kaplan and Meier's medians of these data are 23 and 8 weeks in every textbook (from memory);
    a build stands for a patient, an hour for a week."""
    end = datetime(2026, 12, 1, tzinfo=UTC)
    ledgers = {
        f"E{n}": a_ledger({"running": float(abs(w))}, engine_id=f"E{n}")
        for n, w in enumerate(weeks)
    }
    builds = tuple(BuildSpan(f"E{n}", None, end if w > 0 else None) for n, w in enumerate(weeks))
    fleet = Fleet(ledgers, (), builds, {})
    assert fleet.build_h() == median
    assert fleet.build_h(end + timedelta(days=1)) == median


def test_a_tenth_fail_by_the_b10_life() -> None:
    """B10, the L10 of ISO 281, is the life that nine in ten reach; so it is told of a mode."""
    life = LifeSection(**dict.fromkeys(KINDS, 240.0))
    bolt = mode_named("rod_bolt", "stretched")
    priors = priors_of(bolt, life, strip_interval_h=40.0)
    believed = why(bolt, priors, [], learn(priors, []))
    assert believed.running is not None
    for prior, told in zip(priors, (believed.lives[0], believed.running), strict=True):
        eta, beta = math.exp(prior.mean[1]), math.exp(prior.mean[-1])
        # a wrong sign of -ln 0.9 would tell of nearly ten times as much
        failed = -math.expm1(-((told.prior.median / eta) ** beta))
        assert failed == pytest.approx(0.1, rel=0.4)


def test_the_weibull_life_of_a_handbook_gives_its_share_failed() -> None:
    """NIST/SEMATECH e-Handbook, 8.4.1.3: eta 606.5280, beta 1.7208; by 500 h, when 10 of its 20
    units had failed, F = 1 - exp(-(500/eta)^beta) = 0.51190 (closed form)."""
    handbook = known(running=(606.5280, 1.7208), unlogged=1e-12)
    assert chance(handbook, Load({"running": 500.0})).worn.p == pytest.approx(0.51190, abs=1e-5)


def test_causes_that_compete_share_by_their_hazards() -> None:
    """Of independent causes with constant hazards 3 and 1, the first does three in four (first
    principles of competing risks)."""
    rates = known(oil_starvation=(1.0 / 3.0, 1.0), low_oil_pressure=(1.0, 1.0), unlogged=1e-12)
    shared = shares(rates, Load({"oil_starvation": 1.0, "low_oil_pressure": 1.0}))
    assert shared["oil_starvation"].p == pytest.approx(0.75, rel=1e-6)
    assert shared["low_oil_pressure"].p == pytest.approx(0.25, rel=1e-6)


def test_a_belief_is_what_bayes_makes_of_it() -> None:
    """The chance by direct integration of prior times likelihood (Bayes) over a fine grid."""
    prior = running_prior(10.0)
    looks = [
        Observation(Load({"running": hours}), damaged=hours > 20.0)
        for hours in (4.0, 8.0, 15.0, 21.0, 30.0)
    ]
    axis = np.linspace(-5.0, 5.0, 81)
    grid = np.array(np.meshgrid(axis, axis, axis, indexing="ij")).reshape(3, -1)
    log_h0, log_eta, log_beta = prior.mean[:, None] + prior.spread[:, None] * grid

    def cumulative(hours: float) -> np.ndarray:
        return np.exp(log_h0) + np.exp(np.exp(log_beta) * (math.log(hours) - log_eta))

    log_weight = -0.5 * (grid**2).sum(axis=0)
    for look in looks:
        total = cumulative(look.load.doses["running"])
        log_weight += np.log(-np.expm1(-total)) if look.damaged else -total
    weight = np.exp(log_weight - log_weight.max())
    posterior = learn([prior], looks)
    for hours in (5.0, 12.0, 25.0):
        exact = float((weight * -np.expm1(-cumulative(hours))).sum() / weight.sum())
        told = chance(posterior, Load({"running": hours})).worn.p
        assert told == pytest.approx(exact, abs=0.02)


def test_pressure_that_a_fitted_line_loses_has_drifted_down() -> None:
    """ln p falls by 0.01 an hour over ten hours: e^-0.1 - 1 = -9.516 % (closed form)."""
    steady = [
        SteadyRun(
            f"r{hour}",
            float(hour),
            np.array([6000.0]),
            np.array([100.0]),
            np.array([60.0]),
            np.array([-0.01 * hour]),
        )
        for hour in range(11)
    ]
    drift = pressure_drift(steady, above_rpm=2500.0)
    assert drift is not None
    assert drift.change == pytest.approx(-0.09516, abs=1e-5)
    assert drift.falling


@pytest.mark.parametrize(("p", "said"), [(0.30, "pull"), (0.10, "run on")])
def test_the_cheaper_of_two_is_called_for(p: float, said: str) -> None:
    """Expected cost, p x 42,000 against 9,000 for certain: they meet at p = 0.2143 (definition)."""
    told = Chances(*[Estimate(p, p, p)] * 3)
    mode = ModeOutlook(WIPED, like_parts(now=taken()), Load({}), told, told, 0.5, 0, 0)
    costs = DecisionSection(cost_refresh=9000.0, cost_failure=42000.0)
    assert (p * 42_000.0 > 9_000.0) == (said == "pull")
    verdict = decide(
        EngineForecast((mode,), told, told), costs, drift=None, passed=(), in_doubt=False
    )
    assert verdict.call == said
    assert verdict.accepted == pytest.approx(0.2143, abs=1e-4)
