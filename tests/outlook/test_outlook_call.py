"""The call, by accepted risk or by expected cost."""

from __future__ import annotations

import pytest

from babbitt.damage.chance import Chances, Estimate
from babbitt.damage.model import Load
from babbitt.model.engine_spec import DecisionSection
from babbitt.outlook.call import accepted_risk, decide, expected_cost
from babbitt.outlook.drift import Drift
from babbitt.outlook.forecast import EngineForecast, ModeOutlook
from babbitt.outlook.reach import Reach
from made_lives import WIPED, like_parts, taken

RISK = DecisionSection(accepted_risk=0.1)
PASSED = Reach("rod", (None,), "service limit of running hours", 1.2, 0, 0, 0)


def mode(p: float, high: float) -> ModeOutlook:
    told = Chances(Estimate(p, 0.0, high), Estimate(p, 0.0, high), Estimate(0.0, 0.0, 0.0))
    like = like_parts(now=taken())
    return ModeOutlook(WIPED, like, Load({}), told, told, 0.5, looks=0, damaged=0)


NEVER = Estimate(0.0, 0.0, 0.0)


def of_engine(*modes: ModeOutlook) -> EngineForecast:
    """An engine of which the worst mode is all that counts."""
    worst = max((each.next for each in modes), key=lambda told: told.replace.p, default=None)
    told = worst or Chances(NEVER, NEVER, NEVER)
    return EngineForecast(modes, told, told)


def call(*modes, decision=RISK, drift=None, passed=(), in_doubt=False):
    verdict = decide(of_engine(*modes), decision, drift=drift, passed=passed, in_doubt=in_doubt)
    return verdict.call, verdict.grounds


def falling(change: float, high: float) -> Drift:
    return Drift(6000.0, 110.0, change, change - 0.02, high, hours=9.0, runs=6)


@pytest.mark.parametrize(
    ("p", "high", "said"),
    [
        (0.11, 0.5, ("pull", ("risk",))),
        (0.09, 0.5, ("inspect", ("interval",))),
        (0.02, 0.5, ("run on", ("low risk",))),
        (0.1, 0.1, ("run on", ("low risk",))),
    ],
)
def test_the_chance_is_held_against_the_accepted_risk(p, high, said) -> None:
    assert call(mode(p, high), mode(0.01, 0.02)) == said


def test_the_worst_mode_decides() -> None:
    assert call(mode(0.01, 0.02), mode(0.5, 0.6))[0] == "pull"
    engine = of_engine(mode(0.06, 0.3), mode(0.01, 0.02))
    verdict = decide(engine, RISK, drift=None, passed=(), in_doubt=False)
    assert verdict.call == "inspect"
    assert verdict.decisive is not None
    assert verdict.decisive.next.replace.high == verdict.chance.high == 0.3


def test_what_several_modes_come_to_decides() -> None:
    modes = (mode(0.06, 0.1), mode(0.06, 0.1))
    any_of_them = Chances(NEVER, Estimate(0.1164, 0.0, 0.2), NEVER)
    engine = EngineForecast(modes, any_of_them, any_of_them)
    assert decide(engine, RISK, drift=None, passed=(), in_doubt=False).call == "pull"


def test_costs_say_which_risk_is_worth_it() -> None:
    costs = DecisionSection(cost_refresh=9000.0, cost_failure=42000.0)
    assert accepted_risk(costs) == pytest.approx(9000.0 / 42000.0)
    assert call(mode(0.2, 0.21), decision=costs)[0] == "run on"
    assert call(mode(0.22, 0.23), decision=costs)[0] == "pull"
    assert expected_cost(0.22, costs) == pytest.approx(9240.0)


@pytest.mark.parametrize(
    ("drift", "said"),
    [
        (falling(-0.06, -0.03), "inspect"),
        (falling(-0.06, 0.01), "run on"),
        (falling(-0.04, -0.03), "run on"),
    ],
)
def test_pressure_that_has_surely_fallen_wants_a_look(drift, said) -> None:
    assert call(mode(0.01, 0.02), drift=drift)[0] == said


def test_a_passed_limit_or_an_open_record_is_never_run_on() -> None:
    assert call(mode(0.01, 0.02), passed=[PASSED]) == ("inspect", ("limit",))
    assert call(mode(0.01, 0.02), in_doubt=True) == ("inspect", ("doubt",))
    assert call(mode(0.3, 0.5), passed=[PASSED], in_doubt=True) == (
        "pull",
        ("risk", "limit", "doubt"),
    )


def test_an_engine_of_which_nothing_can_be_judged_is_not_run_on() -> None:
    assert call() == ("inspect", ())
