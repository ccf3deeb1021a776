"""The call: run on, inspect or pull.

- pull: the expected chance of damage by what is logged, after the next runs, is above the accepted
  risk. Where the spec states both costs, that is cost_refresh / cost_failure: the chance at which
  running on costs as much as a refresh.
- inspect: the chance itself is not, but the upper end of its 90 % interval is; or oil pressure has
  fallen by PRESSURE_LOSS or more; or a service limit is passed; or the record leaves something
  open.
- run on: else.

What no log shows (assembly, dirt, material) is left out: a refresh brings it anew. Damage is what
the model learns as such, grade 2 (worn, reusable) or worse; outright failure is rarer, so that
costs judged by it err on the side of caution.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from babbitt.model.engine_spec import DecisionSection
from babbitt.outlook.drift import Drift
from babbitt.outlook.forecast import ModeOutlook
from babbitt.outlook.reach import Reach

Call = Literal["run on", "inspect", "pull"]

PRESSURE_LOSS = 0.05
"""Share of oil pressure lost since the refresh from which the bearings want a look (common
practice, no source)."""

Ground = Literal["risk", "interval", "pressure", "limit", "doubt", "low risk"]


@dataclass(frozen=True)
class Verdict:
    """The call and what it rests on, the weightiest first.

    Attributes:
        call: what to do.
        grounds: why.
        decisive: the damage mode that it rests on; None: none could be judged.
        accepted: the accepted risk.
    """

    call: Call
    grounds: tuple[Ground, ...]
    decisive: ModeOutlook | None
    accepted: float


def accepted_risk(decision: DecisionSection) -> float:
    """Return the chance of damage from which refreshing is right; above 1 it never is."""
    if decision.cost_refresh is None or decision.cost_failure is None:
        return decision.accepted_risk
    return decision.cost_refresh / decision.cost_failure


def decide(
    modes: Sequence[ModeOutlook],
    decision: DecisionSection,
    *,
    drift: Drift | None,
    passed: Sequence[Reach],
    in_doubt: bool,
) -> Verdict:
    """Return the call for an engine; see the top of this module for its rules.

    Args:
        modes: the outlook of each damage mode.
        decision: [decision] of the engine spec.
        drift: of oil pressure since the refresh; None: not known.
        passed: service limits that are reached.
        in_doubt: whether the record leaves something open that a look could settle.
    """
    accepted = accepted_risk(decision)
    worst = max(modes, key=lambda each: each.next_logged.p, default=None)
    widest = max(modes, key=lambda each: each.next_logged.high, default=None)
    if worst is not None and worst.next_logged.p > accepted:
        return Verdict("pull", ("risk", *_besides(drift, passed, in_doubt)), worst, accepted)
    grounds = _besides(drift, passed, in_doubt)
    if widest is not None and widest.next_logged.high > accepted:
        return Verdict("inspect", ("interval", *grounds), widest, accepted)
    if grounds or worst is None:
        return Verdict("inspect", grounds, worst, accepted)
    return Verdict("run on", ("low risk",), worst, accepted)


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
