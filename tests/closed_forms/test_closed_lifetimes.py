"""The likelihood of the damage model against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from babbitt.damage.model import Load, Observation, log_likelihood, records_of

NO_UNLOGGED_WEIGHT = -60.0


@pytest.mark.parametrize(
    ("confidence", "eta_h"),
    [(0.6321205588285577, 223.6068), (0.9, 147.3592), (0.95, 129.1914)],
)
def test_zero_failure_bound_of_five_units_run_for_a_hundred_hours(confidence, eta_h) -> None:
    """Weibayes with beta 2 in closed form: at the bound all are sound with chance 1 - C."""
    looks = [Observation(Load({"time": 100.0}), damaged=False)] * 5
    draw = np.array([[NO_UNLOGGED_WEIGHT, math.log(eta_h), math.log(2.0)]])
    value = log_likelihood(draw, records_of(looks, ["time"]))[0]
    assert math.exp(value) == pytest.approx(1.0 - confidence, rel=1e-5)
