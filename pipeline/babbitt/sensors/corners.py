"""The corners of a run in their order: they tell a circuit, and which way round it was felt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from babbitt.model.engine_running import stretches
from babbitt.model.run import FloatArray, Signal

CORNERING_ABOVE_G = 0.5
LEAST_CORNER_S = 0.8
"""Shorter ones are changes of line (our own choice)."""

MOST_CORNERS = 60
"""Several laps of any circuit; more tell nothing new."""

LEAST_ALIKE = 8
LEAST_SHARE = 0.6
"""Of the corners of the shorter run that must be alike: two laps of most circuits."""

CLEARER = 2.0
"""So many times more corners must be alike than by any other reading (our own choice)."""

_TOLERANCES = np.array([0.25, 0.22, 0.3])
"""Of the logarithms of duration, acceleration and time to the next corner, from lap to lap."""


@dataclass(frozen=True)
class Corner:
    """One corner.

    Attributes:
        start_s: from the start of the run.
        duration_s: above CORNERING_ABOVE_G.
        lateral_g: mean, as signed in the run.
    """

    start_s: float
    duration_s: float
    lateral_g: float


def corners_of(time_s: FloatArray, lateral: Signal | None) -> tuple[Corner, ...]:
    """Return the first MOST_CORNERS corners of a run; none without lateral acceleration."""
    if lateral is None:
        return ()
    values = np.where(lateral.usable() & np.isfinite(lateral.values), lateral.values, 0.0)
    found = []
    for sign in (1.0, -1.0):
        first, last = stretches(sign * values > CORNERING_ABOVE_G)
        seconds = time_s[last] - time_s[first]
        for i in np.flatnonzero(seconds >= LEAST_CORNER_S):
            mean_g = float(values[first[i] : last[i] + 1].mean())
            found.append(Corner(float(time_s[first[i]]), float(seconds[i]), mean_g))
    return tuple(sorted(found, key=lambda corner: corner.start_s)[:MOST_CORNERS])


def mirrored(now: Sequence[Corner], before: Sequence[Corner]) -> int | None:
    """Compare the corners of two runs, whichever lap either begins with.

    Corners are alike by their duration, acceleration and the time to the next one; of two laps of
    one circuit most are. A circuit that looks the same from either direction, such as an oval,
    tells nothing: driven the other way round, its corners come mirrored too.

    Returns:
        How many corners are alike but for their side, if clearly more than of the same side and
        than if one of the circuits had been driven the other way round; minus the number that are
        alike of the same side, if that is clear; None where neither is, or too few are alike.
    """
    if min(len(now), len(before)) < LEAST_ALIKE:
        return None
    needed = max(LEAST_ALIKE, LEAST_SHARE * min(len(now), len(before)))
    same, other = _alike(now, before)
    if max(same, other) < needed:
        return None
    back_same, back_other = _alike(_backwards(now), before)
    if other >= needed and other >= CLEARER * max(same, back_same, back_other):
        return other
    if same >= needed and same >= CLEARER * max(other, back_same, back_other):
        return -same
    return None


def _backwards(corners: Sequence[Corner]) -> tuple[Corner, ...]:
    """Return the corners as they come when the circuit is driven the other way round."""
    return tuple(
        Corner(
            -(corner.start_s + corner.duration_s),
            corner.duration_s,
            -corner.lateral_g,
        )
        for corner in reversed(corners)
    )


def _alike(one: Sequence[Corner], two: Sequence[Corner]) -> tuple[int, int]:
    """Return the most corners that are alike, of the same and of the other side, at any shift."""
    a, side_a = _shape(one)
    b, side_b = _shape(two)
    alike = (np.abs(a[:, np.newaxis] - b[np.newaxis]) <= _TOLERANCES).all(axis=2)
    agree = side_a[:, np.newaxis] == side_b[np.newaxis]
    return _most_at_one_shift(alike & agree), _most_at_one_shift(alike & ~agree)


def _most_at_one_shift(pairs: npt.NDArray[np.bool_]) -> int:
    """Return how many pairs lie on the fullest diagonal; shape (corners, corners)."""
    row, column = np.nonzero(pairs)
    return int(np.bincount(column - row + len(pairs)).max(initial=0))


def _shape(corners: Sequence[Corner]) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Return the logarithms that are compared, shape (corners, 3), and which turn left."""
    start = np.array([corner.start_s for corner in corners])
    duration = np.array([corner.duration_s for corner in corners])
    lateral = np.array([corner.lateral_g for corner in corners])
    to_next = np.append(start[1:] - start[:-1] - duration[:-1], np.inf)
    shape = np.log(np.column_stack([duration, np.abs(lateral), np.clip(to_next, 0.2, 1e9)]))
    return shape, lateral > 0.0
