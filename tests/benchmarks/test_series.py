"""The simulation of a large series gives what can be worked out by hand."""

from __future__ import annotations

import pytest
from series import in_order, locked


def test_one_worker_takes_the_sum_and_the_last_is_dealt_with_after_it() -> None:
    assert in_order([2.0] * 10, 1, 0.5, ahead=8) == pytest.approx(20.5)
    assert locked([2.0] * 10, 1, 0.5) == pytest.approx(25.0)


def test_workers_share_the_work_until_recording_holds_them_up() -> None:
    assert in_order([2.0] * 10, 5, 0.0, ahead=40) == pytest.approx(4.0)
    assert in_order([2.0] * 1000, 1000, 0.5, ahead=8000) == pytest.approx(2.0 + 500.0)
    assert locked([2.0] * 1000, 1000, 0.5) == pytest.approx(2.0 + 500.0)


def test_nobody_reads_further_ahead_than_may_be() -> None:
    """The fifth task begins once the first is dealt with."""
    assert in_order([1.0] * 5, 5, 10.0, ahead=4) == pytest.approx(51.0)
    assert in_order([1.0] * 4 + [60.0], 5, 10.0, ahead=4) == pytest.approx(11.0 + 60.0 + 10.0)


def test_no_logs_take_no_time() -> None:
    assert in_order([], 3, 1.0, ahead=8) == 0.0
    assert locked([], 3, 1.0) == 0.0
