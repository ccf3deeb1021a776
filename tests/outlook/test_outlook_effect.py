"""What a change did: words follow from intervals, and the unlike is not compared."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.outlook.effect import Side, compare_rates, effects


def test_words_follow_from_the_whole_interval() -> None:
    assert compare_rates(40, 100.0, 10, 100.0).word == "better"
    assert compare_rates(10, 100.0, 40, 100.0).word == "worse"
    assert compare_rates(3, 100.0, 2, 100.0).word == "cannot tell"
    assert compare_rates(0, 100.0, 0, 100.0).word == "cannot tell"


def test_nothing_before_or_after_leaves_an_open_end() -> None:
    none_after = compare_rates(12, 50.0, 0, 50.0)
    assert (none_after.ratio, none_after.low, none_after.word) == (0.0, 0.0, "better")
    none_before = compare_rates(0, 50.0, 12, 50.0)
    assert none_before.ratio is None
    assert none_before.high == float("inf")
    assert none_before.word == "worse"


def test_swapping_the_sides_turns_the_ratio_over() -> None:
    one, two = compare_rates(8, 30.0, 20, 45.0), compare_rates(20, 45.0, 8, 30.0)
    assert one.low == pytest.approx(1.0 / two.high)
    assert one.p == pytest.approx(two.p)


def test_intervals_hold_what_they_promise() -> None:
    random = np.random.default_rng(1)
    before, after = random.poisson(6.0, 400), random.poisson(9.0, 400)
    held = [
        found.low <= 1.5 <= found.high
        for found in (
            compare_rates(int(b), 1.0, int(a), 1.0) for b, a in zip(before, after, strict=True)
        )
    ]
    assert np.mean(held) >= 0.9


def test_kinds_not_watched_on_one_side_are_left_out() -> None:
    before = Side(2, {"over_rev": 3}, {"over_rev": 4.0, "overboost": 4.0})
    after = Side(2, {}, {"over_rev": 4.0, "overboost": 0.0})
    assert list(effects(before, after)) == ["over_rev"]
