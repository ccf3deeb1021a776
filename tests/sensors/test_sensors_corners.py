"""Corners in their order tell a circuit, and a mirrored one, but never an oval."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from babbitt.model.run import GOOD, Signal
from babbitt.sensors.corners import Corner, corners_of, mirrored

# An invented lap: seconds in the corner, lateral acceleration, seconds to the next corner.
LAP = ((8.0, 1.4, 11.0), (1.6, -1.1, 2.9), (1.7, 1.0, 2.0), (6.5, 1.3, 12.0), (3.0, -0.9, 5.0))


def corners(lap=LAP, laps=3, *, seed=0, spread=0.04):
    rng, found, at = np.random.default_rng(seed), [], 20.0
    for seconds, lateral, gap in lap * laps:
        seconds, lateral, gap = rng.normal(1.0, spread, 3) * (seconds, lateral, gap)
        found.append(Corner(at, seconds, lateral))
        at += seconds + gap
    return tuple(found)


def turned(found):
    return tuple(replace(corner, lateral_g=-corner.lateral_g) for corner in found)


def other_way_round(lap=LAP):
    """The lap as it is felt by a car that drives the circuit backwards."""
    gaps = [gap for *_, gap in lap]
    back = gaps[-2::-1] + gaps[-1:]
    return tuple((s, -g, gap) for (s, g, _), gap in zip(lap[::-1], back, strict=True))


@pytest.mark.parametrize("seed", range(5))
def test_the_corners_of_a_circuit_come_again(seed):
    assert mirrored(corners(seed=seed), corners(seed=100 + seed)) <= -8


@pytest.mark.parametrize("seed", range(5))
def test_a_wrong_sign_is_seen_whichever_lap_the_run_begins_with(seed):
    now, before = corners(seed=seed, laps=4)[2:], corners(seed=100 + seed)
    assert mirrored(turned(now), before) >= 8


def test_a_circuit_driven_the_other_way_round_is_no_wrong_sign():
    assert mirrored(corners(other_way_round()), corners(seed=3)) is None


def test_an_oval_tells_nothing():
    oval = ((6.0, 1.2, 8.0), (6.0, 1.2, 8.0))
    assert mirrored(turned(corners(oval, 8)), corners(oval, 8, seed=1)) is None


def test_another_circuit_tells_nothing():
    other = ((2.0, -1.0, 9.0), (4.4, 1.2, 4.0), (2.4, -1.3, 16.0), (1.0, -0.7, 7.0))
    assert mirrored(turned(corners(other, 4)), corners()) is None


def test_a_few_corners_tell_nothing():
    assert mirrored(turned(corners(laps=1)), corners()) is None
    assert mirrored((), ()) is None


def test_corners_are_found_in_their_order_with_their_side():
    time_s = np.arange(0.0, 40.0, 0.1)
    lateral = np.select([(time_s > 5) & (time_s < 9), (time_s > 20) & (time_s < 22)], [1.2, -0.8])
    flags = np.full(400, GOOD, np.uint8)
    found = corners_of(time_s, Signal(lateral.astype(np.float32), flags, "g", 10.0, "G"))
    assert [round(corner.lateral_g, 3) for corner in found] == [1.2, -0.8]
    assert [corner.duration_s for corner in found] == pytest.approx([3.8, 1.8])


def test_without_lateral_acceleration_there_are_no_corners():
    assert corners_of(np.arange(3.0), None) == ()
