"""Overheats of coolant and oil, running and soaking."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.conditions import conditions_of
from babbitt.detect.overheat import coolant_overheats, oil_overheats
from made_runs import line, make_run, make_spec

SPEC = make_spec()
HUMP = line((0, 100), (10, 120), (20, 100))  # above 108 from 4 s to 16 s, by 12 at most


def coolant(run):
    return coolant_overheats(run, SPEC, conditions_of(run, SPEC))


def ramp(most_k, doubles_k):
    """Closed form of the dose of a ramp of 2 K a second to so far above the limit, and back."""
    scale = doubles_k / np.log(2.0)
    return scale**2 * (2.0 ** (most_k / doubles_k) - 1.0) - scale * most_k


def oil(run):
    return oil_overheats(run, SPEC, conditions_of(run, SPEC))


def test_a_triangle_has_its_closed_form():
    (event,) = coolant(make_run(20, 10, coolant_temperature=HUMP))

    assert (event.kind, event.cause) == ("coolant_overheat", None)
    assert (event.start_s, event.end_s) == pytest.approx((4, 16), abs=1e-5)
    # Rises by 2 K a second to 12 above the limit, and falls.
    assert event.dose == pytest.approx(ramp(12.0, 5.0), rel=1e-5)
    assert (event.peak, event.peak_s) == (120.0, 10.0)


def test_oil_is_judged_by_its_own_limit():
    (event,) = oil(make_run(20, 10, oil_temperature=line((0, 125), (10, 145), (20, 125))))

    assert event.kind == "oil_overheat"
    assert event.dose == pytest.approx(ramp(10.0, 10.0), rel=1e-5)


def test_heat_soak_after_shutdown_says_so():
    run = make_run(20, coolant_temperature=HUMP, rpm=line((2, 1100), (2.5, 0)))

    assert [event.cause for event in coolant(run)] == ["heat_soak"]


def test_an_overheat_that_began_running_is_no_heat_soak():
    run = make_run(20, coolant_temperature=HUMP, rpm=line((8, 1100), (8.5, 0)))

    assert [event.cause for event in coolant(run)] == [None]


def test_lost_engine_speed_does_not_make_it_heat_soak():
    run = make_run(20, coolant_temperature=HUMP, bad={"rpm": slice(150, 300)})

    assert [event.cause for event in coolant(run)] == [None]


def test_less_than_the_minimum_duration_is_nothing():
    run = make_run(20, coolant_temperature=line((9, 100), (10, 115), (11, 100)))

    assert coolant(run) == ()


def test_dips_of_less_than_two_seconds_do_not_split():
    def swinging(t):
        return 108 + 4 * np.sin(2 * np.pi * t / 3.6)

    (event,) = coolant(make_run(20, coolant_temperature=swinging))

    assert event.duration_s == pytest.approx(6 * 1.8, abs=0.05)


def test_a_sensor_stuck_high_and_flagged_is_nothing():
    run = make_run(20, coolant_temperature=130.0, bad={"coolant_temperature": slice(None)})

    assert coolant(run) == ()


def test_one_bad_reading_of_a_slow_channel_does_not_split():
    # At 1 Hz one bad reading spoils 2 s of the run's time base.
    run = make_run(
        20,
        coolant_temperature=HUMP,
        native_hz={"coolant_temperature": 1.0},
        bad={"coolant_temperature": slice(301, 399)},
    )

    (event,) = coolant(run)

    assert event.dose == pytest.approx(ramp(12.0, 5.0), rel=1e-5)
