"""When a log in a watched folder is whole, and when it is looked at again."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from babbitt.jobs.watch import Landing

A, B = Path("a.csv"), Path("b.csv")
SMALL, LARGE = (10, 1), (20, 2)


def test_a_log_is_whole_once_it_has_not_changed_for_long_enough() -> None:
    landing = Landing(3.0)
    assert landing.whole({A: SMALL}, 100.0) == {}
    assert landing.whole({A: SMALL}, 102.9) == {}
    assert landing.whole({A: LARGE}, 103.0) == {}, "it grew"
    assert landing.next_at() == 106.0
    assert landing.whole({A: LARGE}, 106.0) == {A: LARGE}


def test_a_settled_log_comes_back_only_when_it_changes() -> None:
    landing = Landing(0.0)
    landing.settle(A, SMALL)
    assert landing.whole({A: SMALL}, 1.0) == {}
    assert landing.next_at() is None
    assert landing.whole({A: LARGE}, 2.0) == {A: LARGE}


def test_a_log_that_could_not_be_taken_in_is_tried_again_later() -> None:
    landing = Landing(1.0)
    landing.settle(A, SMALL, again_at=20.0)
    assert landing.whole({A: SMALL}, 19.9) == {}
    assert landing.whole({A: SMALL}, 20.0) == {A: SMALL}


def test_a_log_that_changed_after_it_was_tried_must_be_steady_again() -> None:
    landing = Landing(1.0)
    landing.settle(A, SMALL, again_at=20.0)
    assert landing.whole({A: LARGE}, 20.0) == {}
    assert landing.whole({A: LARGE}, 21.0) == {A: LARGE}


def test_a_log_that_went_and_came_back_as_it_was_stays_settled() -> None:
    landing = Landing(0.0)
    landing.settle(A, SMALL)
    assert landing.whole({}, 1.0) == {}
    assert landing.whole({A: SMALL, B: SMALL}, 2.0) == {B: SMALL}


@given(
    sizes=st.lists(st.integers(0, 2), min_size=1, max_size=30),
    steps=st.lists(st.floats(0.1, 3.0), min_size=30, max_size=30),
    steady_s=st.floats(0.0, 5.0),
)
def test_no_log_is_whole_sooner_or_later_than_its_state_is_steady(
    sizes: list[int], steps: list[float], steady_s: float
) -> None:
    landing = Landing(steady_s)
    now, since = 0.0, 0.0
    for (before, size), step in zip(pairwise([None, *sizes]), steps, strict=False):
        now += step
        since = since if size == before else now
        assert bool(landing.whole({A: (size, 0)}, now)) == (now >= since + steady_s)
