"""Over-revs: dose, peak, and who drove the engine there."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.over_rev import over_revs
from babbitt.model.event import CERTAIN, Reason, confidence_of
from made_runs import line, make_run, make_spec

SPEC = make_spec()
REDLINE = 7600.0


def one(run, spec=SPEC):
    (event,) = over_revs(run, spec)
    return event


@pytest.mark.parametrize("hz", [10, 25, 100])
def test_a_triangle_has_its_closed_form_at_any_rate(hz):
    # Rises and falls by 400 1/min per second, 200 above the redline.
    event = one(make_run(20, hz, rpm=line((0, 3800), (10, 7800), (20, 3800))))

    assert (event.start_s, event.end_s) == pytest.approx((9.5, 10.5), abs=1e-5)
    assert event.duration_s == pytest.approx(1.0, abs=1e-5)
    assert (event.peak, event.peak_s) == (7800.0, 10.0)
    # Integral of n/60 (n/redline)^10 over the two ramps of 0.5 s.
    power = 12
    mean = (7800**power - REDLINE**power) / (power * 200) / REDLINE**10
    assert event.dose == pytest.approx(2 * 0.5 * mean / 60, rel=1e-5)


def test_the_fatigue_exponent_is_the_specs():
    spec = make_spec().model_copy(
        update={"over_rev": SPEC.over_rev.model_copy(update={"fatigue_exponent": 0.5})}
    )
    event = one(make_run(20, rpm=line((0, 7600), (10, 7800), (20, 7600))), spec)

    # With m = 0.5 the weight is n/redline: integral of n^2/(60 redline) over the triangle.
    mean_square = (7800**3 - 7600**3) / (3 * 200)
    assert event.dose == pytest.approx(20 * mean_square / 60 / REDLINE, rel=1e-5)


def test_up_to_the_redline_is_no_over_rev():
    assert over_revs(make_run(20, rpm=line((0, 3000), (10, 7600), (20, 3000))), SPEC) == ()


def test_a_bouncing_limiter_is_one_event():
    run = make_run(10, rpm=lambda t: 7600 + 60 * np.sin(2 * np.pi * 3 * t))

    assert one(run).duration_s == pytest.approx(5.0, abs=0.05)


def test_a_spike_flagged_bad_is_nothing():
    run = make_run(10, rpm=line((4.98, 6000), (5, 15000), (5.02, 6000)), bad={"rpm": [250]})

    assert over_revs(run, SPEC) == ()


def test_a_bad_sample_inside_does_not_split():
    rpm = line((0, 5000), (5, 7900), (6, 7900), (10, 5000))

    event = one(make_run(10, rpm=rpm, bad={"rpm": [270, 271, 272]}))

    assert event.duration_s == one(make_run(10, rpm=rpm)).duration_s


DOWNSHIFT = line((4.5, 5000), (5.0, 9000), (5.4, 7000))  # 8,000 1/min per second


@pytest.mark.parametrize("hz", [2, 10, 20, 100])
def test_a_fast_rise_off_boost_is_driven(hz):
    event = one(make_run(10, hz, rpm=DOWNSHIFT, boost=-60.0))

    assert (event.cause, event.confidence) == ("driven", CERTAIN)


def test_a_fast_rise_on_boost_is_on_power():
    assert one(make_run(10, rpm=DOWNSHIFT)).cause == "on_power"


def test_a_fast_rise_with_the_throttle_shut_is_driven():
    run = make_run(10, rpm=DOWNSHIFT, boost=60.0, throttle=2.0)

    assert one(run).cause == "driven"


def test_the_throttle_alone_can_tell():
    run = make_run(10, rpm=DOWNSHIFT, throttle=1.0, without=["boost"])

    assert (one(run).cause, one(run).confidence) == ("driven", CERTAIN)


SLOW = line((3, 5000), (5, 8000), (6, 7000))  # 1,500 1/min per second


@pytest.mark.parametrize(
    ("told", "cause"),
    [
        ({"boost": 3.0}, "on_power"),
        ({"boost": 3.0, "throttle": 60.0}, "on_power"),
        # Nothing but the wheels takes an engine there with its throttle shut, however slowly.
        ({"boost": 3.0, "throttle": 1.0}, "driven"),
        ({"boost": -60.0}, "driven"),
        ({"boost": -60.0, "throttle": 60.0}, "on_power"),
        ({"without": ["boost"]}, "on_power"),
    ],
)
def test_a_slow_rise_is_driven_where_the_throttle_is_shut(told, cause):
    event = one(make_run(10, rpm=SLOW, **told))

    assert (event.cause, event.confidence) == (cause, CERTAIN)


def test_faster_than_it_can_rev_an_engine_is_driven_whatever_is_logged():
    event = one(make_run(10, rpm=DOWNSHIFT, without=["boost"]))

    assert (event.cause, event.confidence) == ("driven", CERTAIN)


@pytest.mark.parametrize("lost", [{"without": ["boost"]}, {"bad": {"boost": slice(None)}}])
def test_faster_than_in_gear_nothing_tells_the_cause(lost):
    rpm = line((4.5, 6000), (5.0, 8000), (5.4, 7000))  # 4,000 1/min per second
    event = one(make_run(10, rpm=rpm, **lost))

    assert (event.cause, event.confidence) == (
        "unknown",
        confidence_of([Reason("lift_not_logged")]),
    )


def test_a_log_that_starts_above_the_redline_does_not_show_the_rise():
    event = one(make_run(10, rpm=line((0, 8000), (1, 7000)), boost=-60.0))

    assert event.start_s == 0.0
    assert event.cause == "unknown"
    assert event.confidence == confidence_of([Reason("rise_not_logged")])


def test_noise_at_a_high_rate_does_not_look_like_a_downshift():
    noise = np.random.default_rng(3).normal(0, 30, 2001)
    run = make_run(
        10, 200, rpm=lambda t: line((0, 6000), (5, 8000), (10, 6000))(t) + noise, boost=0.0
    )

    assert {event.cause for event in over_revs(run, SPEC)} == {"on_power"}


def test_the_log_may_end_above_the_redline():
    event = one(make_run(10, rpm=line((0, 6000), (10, 8000))))

    assert (event.end_s, event.ended_by) == (10.0, "end_of_run")
