"""When the engine runs, and how long each sample stands for: shared by detection and exposure."""

from __future__ import annotations

import numpy as np

from babbitt.model.run import BoolArray, FloatArray, IndexArray, Run

CRANKING_BELOW_RPM = 500.0
"""No starter motor turns an engine faster (common practice, no source)."""

LEAST_RUN_UP_S = 1.0
"""A run-up that is over sooner is a failed start (common practice, no source)."""

LEAST_GAP_S = 0.5
"""A shorter step between samples is no gap, whatever the rate (our own choice)."""


def running(run: Run, idle_rpm: float) -> BoolArray:
    """Tell where the engine runs.

    It runs where engine speed is usable and above max(500, idle_rpm / 2). A run-up that certainly
    lasted less than 1 s, from the last sample below that speed to the next, is cranking. One that
    the log or a gap cuts off may have lasted longer, and counts as running.

    Args:
        run: its `rpm` is read; the engine of a run without it runs nowhere.
        idle_rpm: of the engine, 1/min.

    Returns:
        Shape (samples,). Bad and missing samples are False: they tell neither way, so compare
        neighbouring usable samples to find starts and stops.
    """
    signal = run.signals.get("rpm")
    if signal is None:
        return np.zeros(len(run.time_s), dtype=np.bool_)
    lost, before = lost_samples(signal.usable())
    above = signal.values > np.float32(max(CRANKING_BELOW_RPM, 0.5 * idle_rpm))
    # Held at the last usable one before them, lost samples neither begin nor end a run-up.
    above[lost] = (before >= 0) & above[before]
    first, last = stretches(above)
    below = usable_at(first - 1, lost, before)
    began = np.where(below >= 0, run.time_s[below], -np.inf)
    goes_on = last < len(run.time_s) - 1
    ended = np.where(goes_on, run.time_s[last + goes_on], np.inf)
    for start, stop in np.column_stack([first, last + 1])[ended - began < LEAST_RUN_UP_S]:
        above[start:stop] = False
    above[lost] = False
    return above


def interval_s(time_s: FloatArray, max_gap_s: float) -> FloatArray:
    """Return the seconds that each sample stands for: half of the step before and after it.

    These are the weights of the trapezoidal rule, so ``interval_s(t, gap) @ x`` is the integral
    of x over t without the gaps.

    Args:
        time_s: seconds, ascending; shape (samples,).
        max_gap_s: a longer step is a gap in the log, and counts for neither side.

    Returns:
        Seconds; shape (samples,).
    """
    weights = np.zeros(len(time_s))
    halves = np.diff(time_s)
    halves *= 0.5
    halves[halves > 0.5 * max_gap_s] = 0.0
    weights[:-1] += halves
    weights[1:] += halves
    return weights


def gap_above_s(time_s: FloatArray) -> float:
    """Return the step above which these samples have a gap: 0.5 s or three usual steps."""
    return max(LEAST_GAP_S, 3.0 * usual_step_s(time_s))


def usual_step_s(time_s: FloatArray) -> float:
    """Return the median step, from at most some 10,000 steps spread over the log; 0 without one."""
    if len(time_s) < 2:
        return 0.0
    every = -(-len(time_s) // 10_000)
    return float(np.median(time_s[1::every] - time_s[:-1:every]))


def stretches(mask: BoolArray) -> tuple[IndexArray, IndexArray]:
    """Return the first and the last index of each stretch of True, two arrays of equal shape."""
    edges = np.flatnonzero(mask[1:] != mask[:-1])
    first = edges[mask[edges + 1]] + 1
    last = edges[mask[edges]]
    if len(mask) and mask[0]:
        first = np.concatenate([[0], first])
    if len(mask) and mask[-1]:
        last = np.concatenate([last, [len(mask) - 1]])
    return first, last


def lost_samples(usable: BoolArray) -> tuple[IndexArray, IndexArray]:
    """Return the samples that are not usable, and the last usable one before each.

    Returns:
        Indices, and indices, -1 where there is none; shape (lost,) each.
    """
    lost = np.flatnonzero(~usable)
    first_of_several = np.diff(lost, prepend=-2) > 1
    return lost, lost[first_of_several][np.cumsum(first_of_several) - 1] - 1


def usable_at(index: IndexArray, lost: IndexArray, before: IndexArray) -> IndexArray:
    """Return each sample itself, or the usable one before it; -1 where there is none.

    Args:
        index: samples; -1 stays.
        lost: samples that are not usable, as of `lost_samples`.
        before: the usable sample before each of them.
    """
    if not len(lost):
        return index
    place = np.minimum(np.searchsorted(lost, index), len(lost) - 1)
    return np.where(lost[place] == index, before[place], index)
