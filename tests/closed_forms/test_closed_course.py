"""Closed forms of the map by dead reckoning and of curvature: circle, clothoid, figure of eight."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import fresnel

from babbitt.laps.motion import GRAVITY_M_S2, Motion
from babbitt.laps.recurrence import bend_of
from babbitt.laps.shape import reckoned_map


def test_a_constant_bend_is_a_circle() -> None:
    """A circle of radius r has curvature 1/r, and closes after 2 pi r."""
    radius = 80.0
    course = reckoned_map(np.full(400, 1.0 / radius), 2.0 * np.pi * radius)
    x, y = np.array(course.x_m), np.array(course.y_m)
    assert np.hypot(x, y - radius) == pytest.approx(radius, abs=0.05)
    assert course.closing_m == pytest.approx(0.0, abs=1e-6)


def test_a_bend_that_is_off_evenly_is_put_right() -> None:
    """An offset of the sensor adds a constant to the curvature."""
    radius = 80.0
    course = reckoned_map(np.full(400, 1.0 / radius) + 3e-4, 2.0 * np.pi * radius)
    assert np.hypot(np.array(course.x_m), np.array(course.y_m) - radius) == pytest.approx(
        radius, abs=0.05
    )


def test_a_figure_of_eight_turns_by_nothing() -> None:
    """Two circles that touch, one to the left, one to the right, meet again where they began."""
    radius, n = 50.0, 400
    bend = np.where(np.arange(n) < n // 2, 1.0, -1.0) / radius
    course = reckoned_map(bend, 4.0 * np.pi * radius)
    x, y = np.array(course.x_m), np.array(course.y_m)
    assert np.hypot(x[: n // 2], y[: n // 2] - radius) == pytest.approx(radius, abs=0.05)
    assert np.hypot(x[n // 2 :], y[n // 2 :] + radius) == pytest.approx(radius, abs=0.05)
    assert course.closing_m == pytest.approx(0.0, abs=1e-6)


def test_a_line_whose_curvature_grows_with_its_length_is_a_clothoid() -> None:
    """The clothoid is the Fresnel integrals: x = a C(s/a), y = a S(s/a), curvature pi s / a²."""
    scale, length, n = 100.0, 200.0, 4000  # one whole turn
    s = (np.arange(n) + 0.5) * length / n
    course = reckoned_map(np.pi * s / scale**2, length)
    y, x = (scale * each for each in fresnel(np.arange(n) * length / n / scale))
    end_y, end_x = (scale * each for each in fresnel(length / scale))
    # the map is closed by taking the miss off evenly along the line
    share = np.arange(n) / n
    assert np.array(course.x_m) == pytest.approx(x - end_x * share, abs=0.05)
    assert np.array(course.y_m) == pytest.approx(y - end_y * share, abs=0.05)
    assert course.closing_m == pytest.approx(np.hypot(end_x, end_y), abs=0.05)


def test_lateral_acceleration_over_speed_squared_is_curvature() -> None:
    """On a circle, a = v²/r."""
    time, speed, radius = np.arange(0.0, 20.0, 0.05), 25.0, 60.0
    lateral = np.full(len(time), speed**2 / radius / GRAVITY_M_S2)
    pace = np.full(len(time), speed)
    bend = bend_of(Motion(time, lateral_g=lateral, speed_m_s=pace), lateral, pace)
    assert bend == pytest.approx(1.0 / radius)
