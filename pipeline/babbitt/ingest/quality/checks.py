"""The four QARTOD checks of one channel, and how their flags merge.

Each takes values and limits and returns flags of equal shape: 1 good, 2 not evaluated, 3 suspect,
4 bad, 9 missing (the IODE primary scheme, which QARTOD adopts). Limits are inclusive: a value on a
limit has not crossed it. Times are seconds, never counts of samples.
"""

from __future__ import annotations

import numpy as np

from babbitt.model.engine_running import stretches
from babbitt.model.run import (
    BAD,
    GOOD,
    MISSING,
    NOT_EVALUATED,
    SUSPECT,
    BoolArray,
    ChannelArray,
    FlagArray,
    FloatArray,
)


def gross_range(
    values: ChannelArray, fail: tuple[float, float], suspect: tuple[float, float]
) -> FlagArray:
    """Flag values outside `fail` bad, those outside `suspect` suspect.

    Args:
        values: NaN where missing; shape (samples,).
        fail: lowest and highest value that the sensor can read.
        suspect: lowest and highest value expected.

    Raises:
        ValueError: `suspect` reaches outside `fail`, or a span is upside down.
    """
    if not fail[0] <= suspect[0] <= suspect[1] <= fail[1]:
        raise ValueError(f"the suspect span {suspect} must lie within the fail span {fail}")
    flags = _unflagged(values)
    if len(values) and not _within(values, suspect):
        flags[(values < suspect[0]) | (values > suspect[1])] = SUSPECT
        flags[(values < fail[0]) | (values > fail[1])] = BAD
    return flags


def spike(
    time_s: FloatArray,
    values: ChannelArray,
    height: tuple[float, float],
    *,
    above_rate_per_s: float = 0.0,
) -> FlagArray:
    """Flag single samples that stand out from both neighbours on the same side.

    The height of a spike is the lesser of its two differences, so that neither its neighbours nor
    the edges of a step stand out (the differential form). The ends, and samples beside a missing
    one, are not evaluated.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: NaN where missing; shape (samples,).
        height: a higher spike is suspect; bad.
        above_rate_per_s: a sample counts only where it also rises and falls faster: in a slow
            channel, ordinary peaks are one sample wide.
    """
    flags = _unflagged(values)
    step = _steps(values)
    missing = flags == MISSING
    unsure = np.isnan(step)
    flags[:1] = flags[-1:] = NOT_EVALUATED
    flags[1:][unsure] = NOT_EVALUATED
    flags[:-1][unsure] = NOT_EVALUATED
    flags[missing] = MISSING

    tall = np.abs(step) > height[0]
    at = np.flatnonzero(tall[:-1] & tall[1:]) + 1
    before, after = step[at - 1], step[at]
    rise_s, fall_s = time_s[at] - time_s[at - 1], time_s[at + 1] - time_s[at]
    counts = (before > 0) != (after > 0)
    counts &= np.abs(before) > above_rate_per_s * rise_s
    counts &= np.abs(after) > above_rate_per_s * fall_s
    bad = np.minimum(np.abs(before), np.abs(after)) > height[1]
    flags[at[counts]] = SUSPECT
    flags[at[counts & bad]] = BAD
    return flags


def rate_of_change(
    time_s: FloatArray,
    values: ChannelArray,
    rate_per_s: tuple[float, float],
    *,
    above_step: float = 0.0,
) -> FlagArray:
    """Flag samples that differ from the one before by more than the time between them allows.

    The first sample, and one after a missing one, pass: nothing speaks against them.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: NaN where missing; shape (samples,).
        rate_per_s: a faster change is suspect; bad.
        above_step: smaller changes pass: at a high rate, noise alone changes fast.
    """
    flags = _unflagged(values)
    step = np.abs(_steps(values))
    at = np.flatnonzero(step > above_step) + 1
    rate = step[at - 1] / (time_s[at] - time_s[at - 1])
    flags[at[rate > rate_per_s[0]]] = SUSPECT
    flags[at[rate > rate_per_s[1]]] = BAD
    return flags


def flat_line(
    time_s: FloatArray,
    values: ChannelArray,
    tolerance: float,
    suspect_s: float,
    fail_s: float,
    *,
    max_gap_s: float = np.inf,
    turning: BoolArray | None = None,
) -> FlagArray:
    """Flag stretches in which the value stays put for too long.

    A stretch that has lasted the limit is flagged from its first sample to its last, since a stuck
    sensor is stuck from the start. (QARTOD flags as data arrive, hence only what comes after the
    limit.) It never spans a gap or a missing sample.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: NaN where missing; shape (samples,).
        tolerance: spread (highest less lowest) that still counts as flat.
        suspect_s: seconds flat until suspect; 0 leaves this limit out.
        fail_s: seconds flat until bad; 0 leaves this limit out.
        max_gap_s: a longer step is a gap.
        turning: where the engine turns: only then do the seconds count. None: everywhere.
    """
    limits = [(s, flag) for s, flag in ((suspect_s, SUSPECT), (fail_s, BAD)) if s > 0.0]
    flags = _unflagged(values)
    if not limits:
        flags[flags == GOOD] = NOT_EVALUATED
        return flags
    still = np.abs(_steps(values)) <= tolerance
    first, last = stretches(still)
    long_enough = time_s[last + 1] - time_s[first] >= min(s for s, _ in limits)
    for start, stop in np.column_stack([first, last + 2])[long_enough]:
        counted = np.diff(time_s[start:stop])
        gaps = np.flatnonzero(counted > max_gap_s) + 1
        if turning is not None:
            counted[~(turning[start : stop - 1] & turning[start + 1 : stop])] = 0.0
        clock = np.concatenate([[0.0], np.cumsum(counted)])
        for piece in np.split(np.arange(start, stop), gaps):
            since = clock[piece - start] - clock[piece[0] - start]
            for window_s, flag in limits:
                flags[piece[_stays(since, values[piece], tolerance, window_s)]] = flag
    return flags


def merge(*checks: FlagArray) -> FlagArray:
    """Return the flag that several checks of the same samples come to.

    Bad outranks suspect, good, not evaluated, in that order. A sample that any check found missing
    stays missing: unlike in some schemes, the good of another check does not hide that.

    Args:
        checks: flags, all of shape (samples,).
    """
    merged: FlagArray = np.maximum.reduce(checks)
    unsure = merged == NOT_EVALUATED
    if unsure.any():
        merged[unsure & (np.minimum.reduce(checks) == GOOD)] = GOOD
    return merged


def _unflagged(values: ChannelArray) -> FlagArray:
    flags = np.full(len(values), GOOD, dtype=np.uint8)
    flags[np.isnan(values)] = MISSING
    return flags


def _within(values: ChannelArray, span: tuple[float, float]) -> bool:
    return bool(np.fmin.reduce(values) >= span[0] and np.fmax.reduce(values) <= span[1])


def _steps(values: ChannelArray) -> ChannelArray:
    with np.errstate(invalid="ignore"):  # infinity less infinity
        return np.diff(values)


def _stays(since: FloatArray, values: ChannelArray, tolerance: float, window_s: float) -> BoolArray:
    """Tell which samples lie in a window of `window_s` within which the values stay put."""
    if since[-1] < window_s:
        return np.zeros(len(values), dtype=np.bool_)
    if values.max() - values.min() <= tolerance:
        return np.ones(len(values), dtype=np.bool_)
    import pandas as pd  # slow to import, and the limits in use seldom lead here

    series = pd.Series(values, index=pd.to_timedelta(since, unit="s"))
    window = series.rolling(pd.Timedelta(seconds=window_s), closed="both")
    spread = (window.max() - window.min()).to_numpy()
    ends = np.flatnonzero((spread <= tolerance) & (since >= window_s))
    starts = np.searchsorted(since, since[ends] - window_s - 1e-9)
    depth = np.zeros(len(values) + 1, dtype=np.int64)
    np.add.at(depth, starts, 1)
    np.add.at(depth, ends + 1, -1)
    return np.cumsum(depth[:-1]) > 0
