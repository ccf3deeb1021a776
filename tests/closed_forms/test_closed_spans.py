"""Event detection and dwell against hand-worked cases and closed forms.

The convention here: a span starts and ends at crossings of the limit itself. A span that a
sample-by-sample state machine would carry on until release therefore ends earlier, at the last
crossing of the limit before that; counts and first samples agree.
"""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.spans import find_spans

PLAIN = {"release": 0.0, "merge_gap_s": 0.0, "min_duration_s": 0.0, "max_gap_s": np.inf}

# Hand-computed series: on at 10, off below 8, one sample a second.
HYSTERESIS = np.array(
    [0, 5, 9, 11, 12, 9, 8, 7.5, 9.5, 10.5, 7, 6, 12, 13, 12, 7, 5], dtype=np.float64
)
SECONDS = np.arange(17.0)


def first_and_last_beyond(spans):
    return [(s[0], s[-1]) for s in np.split(spans.samples, spans.sample_offsets)[1:]]


def test_hysteresis_opens_the_hand_computed_events():
    # A state machine holds the events [3, 6], [9, 9], [12, 14] until below 8 (hand-computed;
    # confirmed by SQL gaps-and-islands and by connected components). Samples 5 and 6 lie between
    # release and limit: they hold the first event open but are not beyond the limit.
    spans = find_spans(SECONDS, HYSTERESIS - 10, **{**PLAIN, "release": -2.0})

    assert first_and_last_beyond(spans) == [(3, 4), (9, 9), (12, 14)]
    assert spans.start_s == pytest.approx([2.5, 9 - 0.5, 11 + 4 / 6])
    assert spans.end_s == pytest.approx([4 + 2 / 3, 9 + 0.5 / 3.5, 14 + 2 / 5])


def test_a_plain_threshold_gives_the_hand_computed_samples():
    # Hand-computed; confirmed by SQL gaps-and-islands and by connected components.
    spans = find_spans(SECONDS, HYSTERESIS - 10, **PLAIN)

    assert first_and_last_beyond(spans) == [(3, 4), (9, 9), (12, 14)]


def test_a_minimum_of_two_seconds_keeps_the_hand_computed_events():
    # Hand-computed: of [3, 6], [9, 9], [12, 14] the first and the last stay.
    spans = find_spans(SECONDS, HYSTERESIS - 10, **{**PLAIN, "release": -2, "min_duration_s": 2})

    assert spans.openings.tolist() == [3, 12]


@pytest.mark.parametrize("rate_hz", [1, 2, 10, 100])
def test_triangle_gives_its_closed_form_at_any_rate(rate_hz):
    # Triangle 80 -> 120 -> 80 in 20 s, threshold 111 (closed form): with T the rise time, A the
    # height and h the threshold over the base, time 2T(1 - h/A), area T(A - h)^2/A.
    time_s = np.arange(20 * rate_hz + 1) / rate_hz
    excess = 120 - 4 * np.abs(time_s - 10) - 111

    spans = find_spans(time_s, excess, **PLAIN)

    assert spans.duration_s == pytest.approx([4.5], rel=1e-12)
    assert spans.integrate(lambda x: x, excess, degree=1) == pytest.approx([20.25], rel=1e-12)
    assert (spans.start_s[0], spans.end_s[0]) == pytest.approx((7.75, 12.25), rel=1e-12)


def sine(rate_hz):
    time_s = np.arange(60 * rate_hz + 1) / rate_hz
    return time_s, 100 + 20 * np.sin(2 * np.pi * time_s / 60) - 115


def test_finely_sampled_sine_gives_its_closed_form():
    # 100 + 20 sin(2 pi t/60) over 115 (closed form): with phi = acos((h - M)/A), time T phi/pi,
    # area (T/pi)(A sin phi - (h - M) phi).
    time_s, excess = sine(1000)

    spans = find_spans(time_s, excess, **PLAIN)

    assert spans.duration_s == pytest.approx([13.803207], abs=1e-5)
    assert spans.integrate(lambda x: x, excess, degree=1) == pytest.approx([45.602529], abs=1e-5)


def test_coarsely_sampled_sine_gives_that_of_its_broken_line():
    # The same sine at 1 Hz as a broken line (recomputed by resampling at 2e6 points).
    time_s, excess = sine(1)

    spans = find_spans(time_s, excess, **PLAIN)

    assert spans.duration_s == pytest.approx([13.791864], abs=2e-5)
    assert spans.integrate(lambda x: x, excess, degree=1) == pytest.approx([45.369719], abs=2e-5)


def test_irregular_sampling_gives_the_hand_worked_sums():
    # Broken line with threshold 110, worked by hand.
    time_s = np.array([0, 1, 1.5, 4, 4.2, 7])
    excess = np.array([90, 112, 108, 120, 105, 111], dtype=np.float64) - 110

    spans = find_spans(time_s, excess, **PLAIN)

    assert spans.duration_s.sum() == pytest.approx(3.0242424, abs=2e-5)
    area = spans.integrate(lambda x: x, excess, degree=1).sum()
    assert area == pytest.approx(11.6575758, abs=2e-5)


@pytest.mark.parametrize("rate_hz", [0.1, 1, 10])
def test_power_law_dose_of_a_ramp_gives_its_closed_form_at_any_rate(rate_hz):
    # Integral of (rpm/7500)^4 while rpm rises from 7000 to 8000 in 10 s (closed form
    # T (b^(m+1) - a^(m+1)) / ((m+1)(b - a) ref^m)).
    time_s = np.arange(10 * rate_hz + 1) / rate_hz
    rpm = 7000 + 100 * time_s

    spans = find_spans(time_s, rpm - 6000, **PLAIN)

    dose = spans.integrate(lambda r: (r / 7500) ** 4, rpm, degree=4)
    assert dose == pytest.approx([10.08892839], rel=1e-9)
