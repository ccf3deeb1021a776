"""Cold load: speed or boost before the oil is warm."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.cold_load import cold_loads
from babbitt.detect.conditions import conditions_of
from made_runs import line, make_run, make_spec, pulse

SPEC = make_spec()


AS_IT_IS_C = 50.0
"""20 K below warm, where a turn counts as a turn."""


def found(run):
    return cold_loads(run, SPEC, conditions_of(run, SPEC))


def test_revs_on_cold_oil_count_in_revolutions():
    run = make_run(
        10,
        oil_temperature=AS_IT_IS_C,
        boost=0.0,
        rpm=line((2, 4000), (4, 6000), (6, 6000), (8, 4000)),
    )

    (event,) = found(run)

    assert (event.start_s, event.end_s) == pytest.approx((3, 7), abs=1e-4)
    assert event.dose == pytest.approx((5500 + 2 * 6000 + 5500) / 60, rel=1e-5)
    assert (event.peak, event.peak_unit, event.dose_unit) == (6000.0, "1/min", "rev")


def test_boost_on_cold_oil_counts_too():
    run = make_run(10, oil_temperature=AS_IT_IS_C, rpm=4500.0, boost=line((2, 0), (4, 160), (6, 0)))

    (event,) = found(run)

    assert (event.start_s, event.end_s) == pytest.approx((3, 5), abs=1e-4)
    assert event.dose == pytest.approx(2 * 4500 / 60, rel=1e-5)


def test_the_colder_the_oil_the_more_a_turn_counts():
    doses = [
        found(make_run(10, oil_temperature=oil_c))[0].dose
        for oil_c in (-10.0, 10.0, 30.0, 50.0, 69.0)
    ]

    assert doses == sorted(doses, reverse=True)
    assert doses[1] > 8.0 * doses[3]


def test_it_ends_when_the_oil_is_warm():
    (event,) = found(make_run(20, oil_temperature=line((0, 60), (20, 80))))

    assert event.end_s == pytest.approx(10.0, abs=1e-3)
    assert event.ended_by == "release"


def test_warm_oil_is_nothing():
    assert found(make_run(10)) == ()


def test_light_load_on_cold_oil_is_nothing():
    assert found(make_run(10, oil_temperature=30.0, rpm=4800.0, boost=70.0)) == ()


def test_boost_with_the_engine_off_is_nothing():
    assert found(make_run(10, oil_temperature=30.0, rpm=0.0, boost=100.0)) == ()


def test_less_than_the_minimum_duration_is_nothing():
    run = make_run(10, oil_temperature=30.0, boost=0.0, rpm=pulse(3000.0, 5500.0, 4.0, 4.3))

    assert found(run) == ()


def test_a_run_without_boost_is_judged_by_speed():
    run = make_run(10, oil_temperature=AS_IT_IS_C, without=["boost"])

    (event,) = found(run)

    assert event.dose == pytest.approx(10 * 6000 / 60)


def test_a_bad_boost_sample_is_not_load():
    run = make_run(10, oil_temperature=30.0, rpm=3000.0, boost=500.0, bad={"boost": slice(None)})

    assert found(run) == ()


def test_an_oil_temperature_that_is_not_known_is_not_cold():
    run = make_run(30, oil_temperature=lambda t: np.where(t < 5, 100.0, np.nan))

    assert found(run) == ()
