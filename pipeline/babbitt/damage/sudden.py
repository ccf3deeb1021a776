"""What the sudden way says of grades and gauges, so that it can be weighed against the gradual one.

Where damage comes at once, doses tell whether it came (model.py), and nothing of how far it went:
among the pieces of a damaged set one is damaged, the others each with the same chance; grades and
measured wear follow frequencies of their own, of sound pieces and of damaged ones. All of these
are conjugate, so their share of the evidence is exact and apart from that of the doses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from babbitt.damage.model import Observation
from babbitt.model.run import FloatArray

SPREADING = (0.5, 1.5)
"""Beta belief in the chance that a further piece of a damaged set is damaged (common practice, no
source)."""

SOUND_GRADES = (3.0, 1.0)
"""Dirichlet belief in grades 0 and 1 of sound pieces, in pieces (common practice, no source)."""

DAMAGED_GRADES = (1.0, 2.0, 1.0)
"""The same in grades 2, 3 and 4 of damaged ones: what breaks or bends is seldom used again."""

_GAUGED = {False: math.log(0.2), True: math.log(1.2)}  # middle of ln of a measured wear
_GAUGED_WEIGHT, _GAUGED_SHAPE, _GAUGED_SCALE = 0.5, 2.0, 0.5


@dataclass(frozen=True)
class Severity:
    """How far sudden damage goes, as the parameters of beta and Dirichlet distributions.

    Attributes:
        spreading: that a further piece is damaged: for, against.
        grades: of damaged pieces, 2 to 4.
    """

    spreading: tuple[float, float] = SPREADING
    grades: tuple[float, float, float] = DAMAGED_GRADES

    def reached(self, pieces: int, draws: int, seed: int) -> FloatArray:
        """Draw the chance that a damaged set has a piece worn, to replace, failed; (3, draws)."""
        rng = np.random.default_rng(seed)
        further = rng.beta(*self.spreading, draws)
        share = rng.dirichlet(self.grades, draws).T
        least = np.stack([np.ones(draws), share[1] + share[2], share[2]])
        spared: FloatArray = (1.0 - least) * (1.0 - further * least) ** (pieces - 1)
        return 1.0 - spared


UNSEEN = Severity()
"""How far sudden damage is believed to go before any was seen."""


def severity_of(looks: Sequence[Observation]) -> tuple[Severity, float]:
    """Return how far damage went in `looks`, and the log-evidence of their grades and gauges.

    The grades of a set of n with d damaged have the chance (d / n) r^(d-1) (1-r)^(n-d), r that of a
    further piece: one, no matter which, was hit, and the others followed or not.
    """
    counts = np.zeros(5)
    further = np.zeros(2)
    evidence = 0.0
    gauged: dict[bool, list[float]] = {False: [], True: []}
    for look in looks:
        counts += np.bincount(look.grades, minlength=5)
        bad = sum(grade > 1 for grade in look.grades)
        if bad:
            further += bad - 1, len(look.grades) - bad
            evidence += math.log(bad / len(look.grades))
        for grade, worn in look.worn:
            gauged[grade > 1].append(math.log(worn))
    evidence += _dirichlet(np.array(SPREADING), further)
    evidence += _dirichlet(np.array(SOUND_GRADES), counts[:2])
    evidence += _dirichlet(np.array(DAMAGED_GRADES), counts[2:])
    evidence += sum(_normal(np.array(values), _GAUGED[bad]) for bad, values in gauged.items())
    after = np.array(SPREADING) + further
    grades = np.array(DAMAGED_GRADES) + counts[2:]
    return Severity((after[0], after[1]), (grades[0], grades[1], grades[2])), evidence


def _dirichlet(belief: FloatArray, counts: FloatArray) -> float:
    """Return the log-chance of a sequence with these counts."""
    after = belief + counts
    return float(
        special.gammaln(after).sum()
        - special.gammaln(belief).sum()
        + special.gammaln(belief.sum())
        - special.gammaln(after.sum())
    )


def _normal(values: FloatArray, middle: float) -> float:
    """Return the log-density of normal values of unknown mean and variance (normal-gamma)."""
    n = len(values)
    if n == 0:
        return 0.0
    mean = float(values.mean())
    weight, shape = _GAUGED_WEIGHT + n, _GAUGED_SHAPE + 0.5 * n
    scale = (
        _GAUGED_SCALE
        + 0.5 * float(((values - mean) ** 2).sum())
        + 0.5 * _GAUGED_WEIGHT * n * (mean - middle) ** 2 / weight
    )
    return (
        math.lgamma(shape)
        - math.lgamma(_GAUGED_SHAPE)
        + _GAUGED_SHAPE * math.log(_GAUGED_SCALE)
        - shape * math.log(scale)
        + 0.5 * math.log(_GAUGED_WEIGHT / weight)
        - 0.5 * n * math.log(2.0 * math.pi)
    )
