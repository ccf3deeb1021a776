"""The call: run on, inspect or pull.

- pull: the expected chance that any part is to be replaced after the next runs is above the
  accepted risk. Where the spec states both costs, that is cost_refresh / cost_failure: the chance
  at which running on costs as much as a refresh.
- inspect: the chance itself is not, but NEAR it, and the upper end of its 90 % interval is; or oil
  pressure has fallen by PRESSURE_LOSS or more; or a service limit is passed; or the record leaves
  something open.
- run on: else.

Outright failure is rarer than the need to replace a part, so that costs judged by it err on the
side of caution.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from babbitt.damage.chance import Estimate
from babbitt.model.engine_spec import DecisionSection
from babbitt.outlook.drift import Drift
from babbitt.outlook.forecast import EngineForecast, ModeOutlook
from babbitt.outlook.reach import Reach

Call = Literal["run on", "inspect", "pull"]

PRESSURE_LOSS = 0.05
"""Share of oil pressure lost since the refresh from which the bearings want a look (common
practice, no source)."""

NEAR = 0.5
"""Share of the accepted risk from which a look is worth it (common practice, no source)."""

Ground = Literal["risk", "interval", "pressure", "limit", "doubt", "low risk"]


@dataclass(frozen=True)
class Verdict:
    """The call and what it rests on, the weightiest first.

    Attributes:
        call: what to do.
        grounds: why.
        decisive: the likeliest damage mode; None: none could be judged.
        chance: that any part of the engine is to be replaced after the next runs.
        accepted: the accepted risk.
    """

    call: Call
    grounds: tuple[Ground, ...]
    decisive: ModeOutlook | None
    chance: Estimate
    accepted: float


def accepted_risk(decision: DecisionSection) -> float:
    """Return the chance of a part to replace from which a refresh is right; above 1 it never is."""
    if decision.cost_refresh is None or decision.cost_failure is None:
        return decision.accepted_risk
    return decision.cost_refresh / decision.cost_failure


def decide(
    foreseen: EngineForecast,
    decision: DecisionSection,
    *,
    drift: Drift | None,
    passed: Sequence[Reach],
    in_doubt: bool,
) -> Verdict:
    """Return the call for an engine; see the top of this module for its rules.

    Args:
        foreseen: what is to be expected of it.
        decision: [decision] of the engine spec.
        drift: of oil pressure since the refresh; None: not known.
        passed: service limits that are reached.
        in_doubt: whether the record leaves something open that a look could settle.
    """
    accepted = accepted_risk(decision)
    worst = max(foreseen.modes, key=lambda each: each.next.replace.p, default=None)
    chance, besides = foreseen.next.replace, _besides(drift, passed, in_doubt)
    call: Call = "inspect"
    grounds: tuple[Ground, ...] = besides
    if worst is not None and chance.p > accepted:
        call, grounds = "pull", ("risk", *besides)
    elif worst is not None and chance.p > NEAR * accepted and chance.high > accepted:
        grounds = ("interval", *besides)
    elif worst is not None and not besides:
        call, grounds = "run on", ("low risk",)
    return Verdict(call, grounds, worst, chance, accepted)


def expected_cost(chance: float, decision: DecisionSection) -> float:
    """Return what running on is expected to cost; NaN where the spec states no costs."""
    return chance * decision.cost_failure if decision.cost_failure is not None else math.nan


def _besides(drift: Drift | None, passed: Sequence[Reach], in_doubt: bool) -> tuple[Ground, ...]:
    grounds: list[Ground] = []
    if drift is not None and drift.falling and drift.change <= -PRESSURE_LOSS:
        grounds.append("pressure")
    if passed:
        grounds.append("limit")
    if in_doubt:
        grounds.append("doubt")
    return tuple(grounds)
