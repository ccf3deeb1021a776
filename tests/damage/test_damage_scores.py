from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from babbitt.damage.scores import BINS, brier_score, calibration_table, decompose

scored = st.integers(1, 40).flatmap(
    lambda n: st.tuples(
        hnp.arrays(np.float64, n, elements=st.floats(0.0, 1.0)), hnp.arrays(np.bool_, n)
    )
)


@given(scored)
@settings(max_examples=50, deadline=None)
def test_every_forecast_is_in_one_group(pair) -> None:
    table = calibration_table(*pair)
    filled = table[table["count"] > 0]
    assert table["count"].sum() == len(pair[0])
    assert (filled["low"] - 1e-12 <= filled["forecast"]).all()
    assert (filled["forecast"] <= filled["high"] + 1e-12).all()


@given(st.lists(st.tuples(st.sampled_from([0.02, 0.07, 0.3, 0.9]), st.booleans()), min_size=1))
@settings(max_examples=50, deadline=None)
def test_with_one_forecast_a_group_the_three_parts_are_all(pairs) -> None:
    forecasts, outcomes = (np.array(column) for column in zip(*pairs, strict=True))
    assert decompose(forecasts, outcomes).within == pytest.approx(0.0, abs=1e-12)


def test_intervals_of_observed_frequency_shrink_with_their_count() -> None:
    few = calibration_table(np.full(4, 0.3), np.array([True, False, False, False]))
    many = calibration_table(np.full(400, 0.3), np.arange(400) % 4 == 0)
    width = [
        (row["observed_high"] - row["observed_low"]).item()
        for row in (few[few["count"] > 0], many[many["count"] > 0])
    ]
    assert width[0] > 0.4 > 0.1 > width[1]


def test_no_forecasts_give_the_same_columns() -> None:
    none = calibration_table(np.array([]), np.array([], dtype=bool))
    some = calibration_table(np.array([0.5]), np.array([True]))
    assert list(none.columns) == list(some.columns)
    assert len(none) == len(BINS) - 1
    assert none["count"].sum() == 0


def test_skill_has_no_meaning_where_all_came_alike() -> None:
    assert math.isnan(decompose(np.array([0.2, 0.4]), np.array([False, False])).skill)


@pytest.mark.parametrize(
    ("forecasts", "outcomes"), [([], []), ([0.5], [True, False]), ([1.2], [True])]
)
def test_what_is_no_set_of_forecasts_is_refused(forecasts, outcomes) -> None:
    with pytest.raises(ValueError, match="forecast"):
        brier_score(np.array(forecasts), np.array(outcomes, dtype=bool))
