"""How good forecasts of damage were, once the engines were stripped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from babbitt.model.run import BoolArray, FloatArray

BINS = (0.0, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0)
"""Edges of the calibration table: narrow where most chances of damage lie."""


@dataclass(frozen=True)
class Decomposition:
    """Murphy's decomposition of the Brier score over groups of like forecasts.

    brier = reliability - resolution + uncertainty + within; with one forecast a group, `within`
    is zero and this is the identity of Murphy (1973).

    Attributes:
        brier: mean squared distance of forecast and outcome; 0 is perfect.
        reliability: mean squared distance of forecast and frequency in the groups; small is good.
        resolution: mean squared distance of the groups' frequencies from the overall one; large
            is good.
        uncertainty: brier of always forecasting the overall frequency.
        within: what the spread of forecasts inside the groups adds.
    """

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float

    @property
    def skill(self) -> float:
        """Share of the uncertainty that the forecasts remove; NaN where all outcomes are alike."""
        return 1.0 - self.brier / self.uncertainty if self.uncertainty > 0.0 else math.nan


def brier_score(forecasts: FloatArray, outcomes: BoolArray) -> float:
    """Return the mean squared distance of forecast and outcome (Brier 1950).

    Args:
        forecasts: chances between 0 and 1; shape (n,).
        outcomes: whether it came so; shape (n,).

    Raises:
        ValueError: there are none, or they are no chances.
    """
    _check(forecasts, outcomes)
    return float(np.mean((forecasts - outcomes) ** 2))


def decompose(
    forecasts: FloatArray, outcomes: BoolArray, *, edges: Sequence[float] = BINS
) -> Decomposition:
    """Return the decomposition of the Brier score over the groups between `edges`.

    Raises:
        ValueError: there are no forecasts, or they are no chances.
    """
    brier = brier_score(forecasts, outcomes)
    groups = calibration_table(forecasts, outcomes, edges=edges)
    groups = groups[groups["count"] > 0]
    share = groups["count"] / len(forecasts)
    overall = float(np.mean(outcomes))
    reliability = float((share * (groups["forecast"] - groups["observed"]) ** 2).sum())
    resolution = float((share * (groups["observed"] - overall) ** 2).sum())
    uncertainty = overall * (1.0 - overall)
    return Decomposition(
        brier=brier,
        reliability=reliability,
        resolution=resolution,
        uncertainty=uncertainty,
        within=brier - (reliability - resolution + uncertainty),
    )


def calibration_table(
    forecasts: FloatArray, outcomes: BoolArray, *, edges: Sequence[float] = BINS
) -> pd.DataFrame:
    """Return forecast beside observed frequency, a row a group of like forecasts.

    Args:
        forecasts: chances between 0 and 1; shape (n,).
        outcomes: whether it came so; shape (n,).
        edges: of the groups, from 0 to 1, ascending; a forecast on an edge is in the group above.

    Returns:
        Columns low, high, count, forecast (mean), observed (frequency), observed_low and
        observed_high (90 % Jeffreys interval of the frequency); NaN in a group without forecasts.

    Raises:
        ValueError: the forecasts are no chances.
    """
    if len(forecasts):
        _check(forecasts, outcomes)
    group = np.clip(np.searchsorted(edges, forecasts, side="right") - 1, 0, len(edges) - 2)
    count = np.bincount(group, minlength=len(edges) - 1)
    came = np.bincount(group, weights=outcomes, minlength=len(edges) - 1)
    foretold = np.bincount(group, weights=forecasts, minlength=len(edges) - 1)
    filled = np.where(count > 0, count, np.nan)
    return pd.DataFrame(
        {
            "low": np.array(edges[:-1], dtype=np.float64),
            "high": np.array(edges[1:], dtype=np.float64),
            "count": count,
            "forecast": foretold / filled,
            "observed": came / filled,
            "observed_low": special.betaincinv(came + 0.5, filled - came + 0.5, 0.05),
            "observed_high": special.betaincinv(came + 0.5, filled - came + 0.5, 0.95),
        }
    )


def _check(forecasts: FloatArray, outcomes: BoolArray) -> None:
    if len(forecasts) == 0 or len(forecasts) != len(outcomes):
        raise ValueError(f"{len(forecasts)} forecasts do not go with {len(outcomes)} outcomes")
    if not np.all((forecasts >= 0.0) & (forecasts <= 1.0)):
        raise ValueError("a forecast is no chance between 0 and 1")
