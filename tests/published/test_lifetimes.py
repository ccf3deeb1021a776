"""The likelihood of the damage model without a prior, against published lifetimes.

With one cause, no unlogged weight and no prior the model is a Weibull distribution fitted to
current-status or interval-censored data.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize

from babbitt.damage.model import (
    Load,
    Observation,
    log_likelihood_and_slope,
    records_of,
)

pytestmark = pytest.mark.published

NO_UNLOGGED_WEIGHT = -60.0

# Nelson, Applied Life Data Analysis (1982), p. 409: turbine wheels, hundreds of hours at the one
# inspection of each, cracked and not.
WHEELS = [
    (4, 0, 39),
    (10, 4, 49),
    (14, 2, 31),
    (18, 7, 66),
    (22, 5, 25),
    (26, 9, 30),
    (30, 9, 33),
    (34, 6, 7),
    (38, 22, 12),
    (42, 21, 19),
    (46, 21, 15),
]
# Nelson, the same, p. 415: 167 turbine parts looked at up to eight times; months, and the parts
# found cracked first at the end of each interval. The last 73 were sound when last seen.
LOOKS_AT = [6.12, 19.92, 29.64, 35.4, 39.72, 45.24, 52.32, 63.48]
CRACKED_BY = [5, 16, 12, 18, 18, 2, 6, 17]
SOUND_AT_THE_END = 73


def fit(looks: list[Observation], start: tuple[float, float]) -> tuple[float, float, float]:
    """Return eta, beta and log-likelihood at its maximum."""
    records = records_of(looks, ["time"])

    def downhill(point: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = log_likelihood_and_slope(np.array([[NO_UNLOGGED_WEIGHT, *point]]), records)
        return -value[0], -slope[0, 1:]

    found = optimize.minimize(
        downhill, np.log(start), jac=True, method="BFGS", options={"gtol": 1e-6}
    )
    return math.exp(found.x[0]), math.exp(found.x[1]), -found.fun


def test_weibull_fit_of_turbine_wheels_seen_once() -> None:
    """Recomputed from the data with three programs (lifelines 0.30, scipy 1.17, surpyval 0.25)."""
    looks = [
        Observation(Load({"time": float(time)}), damaged=damaged)
        for time, cracked, sound in WHEELS
        for damaged, count in ((True, cracked), (False, sound))
        for _ in range(count)
    ]
    assert len(looks) == 432
    assert fit(looks, (20.0, 1.0)) == pytest.approx((46.7772, 2.17578, -189.2872), rel=2e-5)


def test_weibull_fit_of_turbine_parts_seen_up_to_eight_times() -> None:
    """eta 71.69 months, beta 1.485: R's survreg on these data, in its survival package's tests.

    The log-likelihood at full precision, -309.6684, is lifelines 0.30's and scipy 1.17's.
    """
    looks = []
    for last, count in [*enumerate(CRACKED_BY), (len(LOOKS_AT), SOUND_AT_THE_END)]:
        history, before = [], 0.0
        for i, time in enumerate(LOOKS_AT[: last + 1]):
            load = Load({"time": time}, sound_at={"time": before})
            history.append(Observation(load, damaged=i == last))
            before = time
        looks += count * history
    eta, beta, value = fit(looks, (30.0, 1.0))
    assert (eta, beta) == pytest.approx((71.69, 1.485), rel=5e-4)
    assert value == pytest.approx(-309.6684, abs=1e-3)
