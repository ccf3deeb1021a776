import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from babbitt.errors import LogRefusedError
from babbitt.ingest.columns.series import Rows, merge_series

BLANK = np.nan


def blocks_of(columns: dict[int, np.ndarray], size: int) -> list[dict[int, np.ndarray]]:
    rows = max(len(values) for values in columns.values())
    full = {
        i: np.concatenate([values, np.full(rows - len(values), BLANK)])
        for i, values in columns.items()
    }
    return [
        {i: values[at : at + size] for i, values in full.items()} for at in range(0, rows, size)
    ]


def together(merged: list[Rows]) -> Rows:
    return Rows(
        np.concatenate([rows.time for rows in merged]),
        {i: np.concatenate([rows.numbers[i] for rows in merged]) for i in merged[0].numbers},
    )


times = st.lists(st.integers(0, 200), min_size=1, max_size=40, unique=True).map(sorted)


@given(fast=times, slow=times, size=st.integers(1, 50))
def test_every_sample_comes_out_once_at_its_time(
    fast: list[int], slow: list[int], size: int
) -> None:
    columns = {0: np.array(fast) / 10, 1: np.array(fast) * 2.0, 2: np.array(slow) / 10}
    columns |= {3: np.array(slow) * 3.0, 4: np.array(slow) * 4.0}
    try:
        merged = together(list(merge_series(blocks_of(columns, size), {1: 0, 3: 2, 4: 2}, "a")))
    except LogRefusedError:
        pytest.fail("times that rise were refused")
    assert merged.time.tolist() == sorted({t / 10 for t in (*fast, *slow)})
    for i, clock in ((1, 0), (3, 2), (4, 2)):
        known = ~np.isnan(merged.numbers[i])
        assert merged.time[known].tolist() == columns[clock].tolist()
        assert merged.numbers[i][known].tolist() == columns[i].tolist()
        assert merged.numbers[i].dtype == np.float32


def test_first_of_several_samples_at_one_time_counts() -> None:
    columns = {0: np.array([0.0, 0.1, 0.1, 0.2]), 1: np.array([1.0, 2.0, 9.0, 3.0])}
    for size in (1, 2, 4):
        merged = together(list(merge_series(blocks_of(columns, size), {1: 0}, "a")))
        assert merged.time.tolist() == [0.0, 0.1, 0.2]
        assert merged.numbers[1].tolist() == [1.0, 2.0, 3.0]


def test_time_that_runs_backwards_is_refused() -> None:
    columns = {0: np.array([0.0, 0.2, 0.1]), 1: np.array([1.0, 2.0, 3.0])}
    for size in (1, 3):
        with pytest.raises(LogRefusedError, match="time runs backwards in column 1"):
            list(merge_series(blocks_of(columns, size), {1: 0}, "a"))
