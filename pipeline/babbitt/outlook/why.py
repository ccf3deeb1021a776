"""What was believed of a damage mode, what teardowns showed, and what is believed now."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from babbitt.damage.model import Observation
from babbitt.damage.posterior import NO_EFFECT, Posterior, learn
from babbitt.damage.prior import Prior
from babbitt.model.damage_modes import DamageMode, Part, part_named
from babbitt.model.run import FloatArray

_B10_HAZARD = -math.log(0.9)


@dataclass(frozen=True)
class Belief:
    """A quantity as it is believed: median and 90 % interval."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class LifeBelief:
    """The dose of one cause that alone damages one in ten.

    Attributes:
        cause: of schemas/causes.toml.
        prior: before any teardown, in the unit of the cause.
        posterior: after them; None: they leave no belief that it acts.
    """

    cause: str
    prior: Belief
    posterior: Belief | None


@dataclass(frozen=True)
class Why:
    """What a damage mode was learned from, and what that changed.

    Attributes:
        mode: the damage mode.
        looks: teardowns' looks.
        damaged: how many of them found damage.
        lives: of each logged cause, where doses do the damage.
        running: hours that damage one in ten, where running time alone does it; None: not asked.
        running_prior: belief that running time alone does it, before any teardown.
        running_posterior: and after them.
        unlogged_prior: chance by what no log shows, before any teardown.
        unlogged_posterior: and after them.
    """

    mode: DamageMode
    looks: int
    damaged: int
    lives: tuple[LifeBelief, ...]
    running: LifeBelief | None
    running_prior: float
    running_posterior: float
    unlogged_prior: Belief
    unlogged_posterior: Belief

    @property
    def part(self) -> Part:
        """The kind of part that the damage mode is of."""
        return part_named(self.mode.part)

    def to_json(self) -> dict[str, Any]:
        """Return it as the command line writes it."""
        return {**asdict(self), "mode": self.mode.name, "part": self.mode.part}


def why(
    mode: DamageMode,
    priors: Sequence[Prior],
    observations: Sequence[Observation],
    posterior: Posterior,
) -> Why:
    """Return what is believed of a damage mode, before and after its observations.

    Args:
        mode: the damage mode.
        priors: its explanations: by doses, and by running time where that is known.
        observations: that the posterior was learned from; with none it is the prior.
        posterior: what they became.
    """
    before = learn(priors, []) if observations else posterior
    lives = [
        [
            LifeBelief(cause, first, _life(posterior, cause))
            for cause in prior.causes
            if (first := _life(before, cause)) is not None
        ]
        for prior in priors
    ]
    timed = len(priors) > 1
    return Why(
        mode=mode,
        looks=posterior.observations,
        damaged=posterior.damaged,
        lives=tuple(lives[0]),
        running=lives[1][0] if timed else None,
        running_prior=before.beliefs[1] if timed else 0.0,
        running_posterior=posterior.beliefs[1] if timed else 0.0,
        unlogged_prior=_belief(-np.expm1(-np.exp(before.draws[:, 0]))),
        unlogged_posterior=_belief(-np.expm1(-np.exp(posterior.draws[:, 0]))),
    )


def _life(posterior: Posterior, cause: str) -> Belief | None:
    """Return the dose by which a cause alone has damaged one in ten: eta (-ln 0.9)^(1 / beta).

    Only draws of the explanation in which the cause acts count; None: there is none.
    """
    column = posterior.causes.index(cause)
    k = len(posterior.causes)
    log_eta, beta = posterior.draws[:, 1 + column], np.exp(posterior.draws[:, 1 + k + column])
    acts = log_eta < NO_EFFECT
    if not acts.any():
        return None
    return _belief(np.exp(log_eta[acts] + math.log(_B10_HAZARD) / beta[acts]))


def _belief(values: FloatArray) -> Belief:
    low, median, high = np.quantile(values, (0.05, 0.5, 0.95)).tolist()
    return Belief(median, low, high)
