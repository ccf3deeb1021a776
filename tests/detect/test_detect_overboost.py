"""Overboost."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.overboost import overboosts
from made_runs import line, make_run, make_spec

SPEC = make_spec()


@pytest.mark.parametrize("hz", [10, 50])
def test_a_triangle_has_its_closed_form(hz):
    (event,) = overboosts(make_run(10, hz, boost=line((4, 160), (5, 200), (6, 160))), SPEC)

    assert event.kind == "overboost"
    assert event.duration_s == pytest.approx(1.0, abs=1e-5)
    assert event.dose == pytest.approx(1.0 * 20 / 2, rel=1e-5)
    assert (event.peak, event.peak_unit, event.dose_unit) == (200.0, "kPa", "kPa·s")


def test_less_than_the_minimum_duration_is_nothing():
    assert overboosts(make_run(10, boost=line((4.9, 160), (5, 185), (5.1, 160))), SPEC) == ()


def test_a_blank_inside_does_not_split():
    boost = line((4, 160), (5, 200), (6, 160))
    (whole,) = overboosts(make_run(10, boost=boost), SPEC)
    blank = make_run(10, boost=lambda t: np.where((t > 4.7) & (t < 4.9), np.nan, boost(t)))

    (event,) = overboosts(blank, SPEC)

    assert event.dose == pytest.approx(whole.dose, rel=1e-6)


def test_a_gap_in_the_log_ends_it_and_its_time_does_not_count():
    t = np.concatenate([np.arange(0, 5, 0.1), np.arange(60, 65, 0.1)])
    boost = line((4, 170), (4.5, 190), (60.5, 190), (61, 170))

    before, after = overboosts(make_run(time_s=t, hz=10, boost=boost), SPEC)

    assert (before.end_s, before.ended_by) == (pytest.approx(4.9), "gap")
    assert (after.start_s, after.ended_by) == (pytest.approx(60.0), "release")
