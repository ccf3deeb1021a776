"""Unplugged sensors: a reading that leaps to a dead level and, plugged in again, leaps back."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from babbitt.model.channels import FlagLimits
from babbitt.model.engine_running import stretches
from babbitt.model.run import BAD, GOOD, BoolArray, ChannelArray, FlagArray, FloatArray, IndexArray

LeapArray = npt.NDArray[np.int8]

IMPLAUSIBLE, IMPOSSIBLE = 1, 2
"""Grades of a leap."""

CHANCE_ALIKE = 0.01
"""Chance below which equal readings are not put down to the coarse steps of a channel."""


def dropout(
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits,
    *,
    max_gap_s: float = np.inf,
    turning: BoolArray | None = None,
) -> FlagArray:
    """Flag the stretches in which a sensor was unplugged, whatever the level it read.

    Where the channel reads `nothing`, `lost.lost_or_unplugged` decides.

    Such a stretch is dead: one value, or beyond the suspect range. It is entered by a leap within
    one or two samples and left by one the other way. A leap is implausible where it is higher than
    a bad spike and faster than the suspect rate; it is impossible where it is twice as high as
    that, or where it is higher than a suspect spike and faster than the bad rate. Between
    impossible leaps two equal readings are enough; otherwise there must be more than the steps of
    the channel explain by chance. Where the channel or a gap cuts the stretch off, one leap is
    enough if the engine turned on the near side of it. A real collapse or a shutdown falls along a
    slope, and is left alone.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: none missing; shape (samples,).
        limits: of the channel.
        max_gap_s: a longer step is a gap.
        turning: where the engine turns; None where that is unknown: then both leaps are needed.

    Returns:
        BAD in those stretches, with a reading caught halfway at either end; GOOD elsewhere.
    """
    flags = np.full(len(values), GOOD, dtype=np.uint8)
    step = np.abs(np.diff(values))
    big = step > 0.5 * limits.spike[0]  # as one half of any leap is
    if len(values) < 3 or not big.any():
        return flags
    still = step <= limits.flat_tolerance
    first, last, alike = _dead_levels(values, still, limits)
    beside = _beside(big, first, last)
    first, last, alike = first[beside], last[beside], alike[beside]
    into, start = leap_in(time_s, values, first, limits)
    out, stop = leap_out(time_s, values, last, limits)
    if turning is not None:
        into, out = _cut_off(time_s, first, last, into, out, turning, max_gap_s)
    sure = np.minimum(np.abs(into), np.abs(out)) == IMPOSSIBLE
    dead = ~alike | sure | (last - first + 1 >= _more_than_chance(still))
    if limits.nothing is not None:  # for lost.py
        dead &= (values[first] < limits.nothing[0]) | (values[first] > limits.nothing[1])
    unplugged = (np.sign(into) * np.sign(out) < 0) & dead
    for begin, end in np.column_stack([start, stop])[unplugged]:
        flags[begin : end + 1] = BAD
    return flags


def _dead_levels(
    values: ChannelArray, still: BoolArray, limits: FlagLimits
) -> tuple[IndexArray, IndexArray, BoolArray]:
    """Return first and last sample of each dead stretch, and whether it is one of equal values."""
    low, high = limits.gross_suspect
    alike_first, alike_last = stretches(still)
    rail_first, rail_last = stretches((values < low) | (values > high))
    alike = np.repeat([True, False], [len(alike_first), len(rail_first)])
    return (
        np.concatenate([alike_first, rail_first]),
        np.concatenate([alike_last + 1, rail_last]),
        alike,
    )


def _beside(big: BoolArray, first: IndexArray, last: IndexArray) -> BoolArray:
    """Tell which stretches have a big step within two samples of an end; most have none."""
    near: BoolArray = np.zeros(len(big) + 4, dtype=np.bool_)  # two more at either end
    near[2:-2] = big
    return near[first] | near[first + 1] | near[last + 2] | near[last + 3]


def leap_in(
    time_s: FloatArray, values: ChannelArray, first: IndexArray, limits: FlagLimits
) -> tuple[LeapArray, IndexArray]:
    """Return the leap into each stretch, and the first sample that it spoils."""
    before, further = np.maximum(first - 1, 0), np.maximum(first - 2, 0)
    in_one = _leap(time_s, values, before, first, limits)
    in_two = _leap(time_s, values, further, first, limits)
    halfway = _halfway(in_one, in_two, _leap(time_s, values, further, before, limits))
    return np.where(halfway, in_two, in_one), first - halfway


def leap_out(
    time_s: FloatArray, values: ChannelArray, last: IndexArray, limits: FlagLimits
) -> tuple[LeapArray, IndexArray]:
    """Return the leap out of each stretch, and the last sample that it spoils."""
    end = len(values) - 1
    after, further = np.minimum(last + 1, end), np.minimum(last + 2, end)
    in_one = _leap(time_s, values, last, after, limits)
    in_two = _leap(time_s, values, last, further, limits)
    halfway = _halfway(in_one, in_two, _leap(time_s, values, after, further, limits))
    return np.where(halfway, in_two, in_one), last + halfway


def _halfway(in_one: LeapArray, in_two: LeapArray, other_half: LeapArray) -> BoolArray:
    """Tell where the sample next to a stretch was caught on the way: the leap took two."""
    in_halves: BoolArray = (in_two != 0) & (in_one * other_half > 0)
    return in_halves | (np.abs(in_two) > np.abs(in_one))


def _leap(
    time_s: FloatArray, values: ChannelArray, at: IndexArray, to: IndexArray, limits: FlagLimits
) -> LeapArray:
    """Grade the change from `at` to `to`: 0 ordinary, ±1 implausible, ±2 impossible."""
    change = values[to] - values[at]
    height, seconds = np.abs(change), time_s[to] - time_s[at]
    grade = np.zeros(len(at), dtype=np.int8)
    fast, too_fast = (height > rate * seconds for rate in limits.rate_per_s)
    grade[fast & (height > limits.spike[1])] = IMPLAUSIBLE
    grade[fast & (height > 2.0 * limits.spike[1])] = IMPOSSIBLE
    grade[too_fast & (height > limits.spike[0])] = IMPOSSIBLE
    grade[change < 0] *= -1
    return grade


def _cut_off(
    time_s: FloatArray,
    first: IndexArray,
    last: IndexArray,
    into: LeapArray,
    out: LeapArray,
    turning: BoolArray,
    max_gap_s: float,
) -> tuple[LeapArray, LeapArray]:
    """Take the leap on one side for both where the other side of a stretch was not recorded."""
    end = len(time_s) - 1
    before, after = np.maximum(first - 1, 0), np.minimum(last + 1, end)
    from_cut = (first == 0) | (time_s[first] - time_s[before] > max_gap_s)
    to_cut = (last == end) | (time_s[after] - time_s[last] > max_gap_s)
    from_cut &= turning[first] & (into == 0)
    to_cut &= turning[before] & (out == 0)
    return np.where(from_cut, -out, into), np.where(to_cut, -into, out)


def _more_than_chance(still: BoolArray) -> float:
    """Return how many equal readings in a row chance does not explain.

    Where each reading equals the one before with a chance p, so do a share p of the stays at one
    value last longer than a single reading, and n readings in a row are alike with p ** (n - 1).
    Stays are counted, not readings, so that the dropouts themselves weigh little.
    """
    stays = np.count_nonzero(~still) + 1
    repeated = len(stretches(still)[0])
    if repeated in (0, stays):
        return 2.0 if repeated == 0 else math.inf
    return 1.0 + math.ceil(math.log(CHANCE_ALIKE) / math.log(repeated / stays))
