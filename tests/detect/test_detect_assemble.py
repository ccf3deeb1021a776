import pytest

from babbitt.detect.assemble import max_gap_s
from made_runs import make_run


def test_gap_is_three_steps_of_the_slowest_channel() -> None:
    run = make_run(native_hz={"oil_temperature": 1.0})
    assert max_gap_s(run, "rpm") == run.info.max_gap_s
    assert max_gap_s(run, "rpm", "oil_temperature") == pytest.approx(3.0)


def test_channel_of_one_reading_has_no_step() -> None:
    run = make_run(native_hz={"oil_temperature": 0.0})
    assert max_gap_s(run, "rpm", "oil_temperature") == run.info.max_gap_s
