"""Doses or running time: what the damage modes of a fleet say about it together.

How many damage modes of a type of engine merely wear with running time is not known: a share, of
which the builder believes DOUBT, worth DOUBT_MODES damage modes (a beta distribution). Each mode
that was looked at speaks for one explanation or the other, and so about the share, and so about the
modes of which little was seen.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from babbitt.damage.life import DOUBT
from babbitt.damage.posterior import Fit, Posterior, weigh
from babbitt.damage.prior import DOUBT_MODES
from babbitt.model.run import FloatArray

_SHARES = 400  # quantiles that stand for the distribution of the share


def weigh_together(fits: Sequence[Fit]) -> list[Posterior]:
    """Return what is believed of damage modes, each in the light of all.

    Args:
        fits: of damage modes, as `priors_of` has their explanations. Where there is but one, or
            no logged dose is a rival to running time, the others have no say.
    """
    rivals = [n for n, each in enumerate(fits) if len(each.priors) == 2 and each.priors[0].causes]
    odds = [fits[n].log_evidence(1) - fits[n].log_evidence(0) for n in rivals]
    beliefs = [[prior.belief for prior in each.priors] for each in fits]
    for n, doubt in zip(rivals, doubts_of(np.array(odds)).tolist(), strict=True):
        beliefs[n] = [1.0 - doubt, doubt]
    return [weigh(each, belief) for each, belief in zip(fits, beliefs, strict=True)]


def doubts_of(log_odds: FloatArray) -> FloatArray:
    """Return the belief in running time that all other damage modes leave for each.

    Args:
        log_odds: ln of the Bayes factor of running time against doses; shape (modes,).

    Returns:
        Shape (modes,); DOUBT for a mode without others.
    """
    ranks = (np.arange(_SHARES) + 0.5) / _SHARES
    share = special.betaincinv(DOUBT_MODES * DOUBT, DOUBT_MODES * (1.0 - DOUBT), ranks)
    foretold = np.logaddexp(np.log(share) + log_odds[:, None], np.log1p(-share))
    by_others = foretold.sum(axis=0) - foretold
    weights = np.exp(by_others - by_others.max(axis=1, keepdims=True))
    doubts: FloatArray = (weights * share).sum(axis=1) / weights.sum(axis=1)
    return doubts
