"""Scores of forecasts, against published and hand-computed values."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.damage.scores import brier_score, calibration_table, decompose

pytestmark = pytest.mark.published


def test_brier_score_of_a_documented_example() -> None:
    """The example in the documentation of scikit-learn's brier_score_loss."""
    forecasts = np.array([0.1, 0.9, 0.8, 0.3])
    outcomes = np.array([False, True, True, False])
    assert brier_score(forecasts, outcomes) == pytest.approx(0.0375, abs=1e-9)


def test_murphy_decomposition_of_three_groups() -> None:
    """Murphy (1973), the identity computed by hand: 10 forecasts each of 0.1, 0.5 and 0.9."""
    forecasts = np.repeat([0.1, 0.5, 0.9], 10)
    outcomes = np.concatenate([np.arange(10) < came for came in (1, 6, 8)])
    parts = decompose(forecasts, outcomes)
    assert parts.brier == pytest.approx(0.17, abs=1e-7)
    assert parts.reliability == pytest.approx(0.0066667, abs=1e-7)
    assert parts.resolution == pytest.approx(0.0866667, abs=1e-7)
    assert parts.uncertainty == pytest.approx(0.25, abs=1e-7)
    assert parts.skill == pytest.approx(0.32, abs=1e-7)
    assert parts.within == pytest.approx(0.0, abs=1e-12)
    table = calibration_table(forecasts, outcomes)
    observed = table.loc[table["count"] > 0, "observed"]
    assert observed.tolist() == pytest.approx([0.1, 0.6, 0.8])
