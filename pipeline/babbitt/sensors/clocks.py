"""Clocks that do not agree: two in one log, or that of the log with the engine's other runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from babbitt.errors import Remedy
from babbitt.model.run import ChannelArray, FloatArray, Signal
from babbitt.model.sensor_doubt import SensorDoubt

_TICKS_PER_S = (1.0, 1000.0)
"""Clocks count seconds or milliseconds."""

_NEAR = 0.05
"""What runs faster or slower by more is no clock (our own choice)."""

_STRAIGHT_S = 0.1
"""What strays further from a straight line is none either (our own choice)."""

_CRYSTAL = 3e-4
"""No sound clock drifts by more: a crystal keeps to 1 in 10,000 (common practice, no source)."""

_LEAST_DRIFT_S = 0.5

_AHEAD = timedelta(days=1)
"""Zones differ by no more."""

_EPOCHS = (
    datetime(1970, 1, 1, tzinfo=UTC),
    datetime(1980, 1, 1, tzinfo=UTC),
    datetime(1980, 1, 6, tzinfo=UTC),
    datetime(2000, 1, 1, tzinfo=UTC),
)
"""Where the clocks of computers, file systems, satellites and small chips begin to count (common
practice, no source)."""

_AFTER_EPOCH = timedelta(days=60)
"""A clock without a battery counts for so long at the most until it is seen (our own choice)."""

_ROLLOVER = timedelta(weeks=1024)
"""The week number of satellite navigation begins anew (IS-GPS-200, 10 bits of week number)."""

_FAR = timedelta(days=730)
"""From every other run of the engine (our own choice)."""


@dataclass(frozen=True)
class SecondClock:
    """A column of a log that counts seconds beside its time column.

    Attributes:
        header: of the column.
        rate: seconds that it counts in each second of the log's time.
        strays_s: what it gains, or loses where negative, over the run.
    """

    header: str
    rate: float
    strays_s: float


def may_count_seconds(time_s: FloatArray, values: ChannelArray) -> bool:
    """Tell whether a channel goes about as fast as a clock, in seconds or milliseconds.

    Args:
        time_s: of the run; shape (samples,).
        values: not finite where missing; shape (samples,).
    """
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 2:
        return False
    first, last = known[0], known[-1]
    rate = float(values[last] - values[first]) / float(time_s[last] - time_s[first])
    return any(abs(rate / ticks - 1.0) <= _NEAR for ticks in _TICKS_PER_S)


def second_clocks(time_s: FloatArray, others: Mapping[str, Signal]) -> tuple[SecondClock, ...]:
    """Find the channels of no known name that count seconds.

    Args:
        time_s: of the run, seconds; shape (samples,).
        others: its channels that have no canonical name.
    """
    found = []
    for signal in others.values():
        known = np.isfinite(signal.values)
        if np.count_nonzero(known) < 50:
            continue
        at, values = time_s[known], signal.values[known].astype(np.float64)
        span_s = at[-1] - at[0]
        for ticks in _TICKS_PER_S:
            counted_s = (values - values[0]) / ticks
            rate = counted_s[-1] / span_s
            if abs(rate - 1.0) > _NEAR:
                continue
            resolution_s = float(np.spacing(np.abs(signal.values[known]).max())) / ticks
            strays = np.abs(counted_s - rate * (at - at[0]))
            if float(strays.max()) <= _STRAIGHT_S + 2.0 * resolution_s:
                found.append(SecondClock(signal.header, float(rate), float((rate - 1.0) * span_s)))
    return tuple(found)


def drift_doubts(clocks: Sequence[SecondClock]) -> tuple[SensorDoubt, ...]:
    """Say which clocks of a log do not run as its time does."""
    return tuple(
        SensorDoubt(
            "drift",
            (),
            f"The log's clocks do not agree: {clock.header!r} counts {clock.rate:.4f} s in each "
            f"second of its time, {abs(clock.strays_s):.1f} s "
            f"{'more' if clock.strays_s > 0 else 'less'} over the run; if that is the better clock",
            (Remedy("map", clock.header, "time"),),
        )
        for clock in clocks
        if abs(clock.strays_s) >= _LEAST_DRIFT_S and abs(clock.rate - 1.0) >= _CRYSTAL
    )


def clock_doubts(
    started_at: datetime, taken_in_at: datetime, others: Sequence[datetime]
) -> tuple[SensorDoubt, ...]:
    """Say what speaks against the start that a log states.

    Args:
        started_at: by the log's own clock.
        taken_in_at: when the log was taken in.
        others: starts of other runs of the engine; the nearest before and after will do.
    """
    day = f"{started_at:%Y-%m-%d}"
    away = [abs(started_at - other) for other in others]
    nearest = min(away) if away else None
    lonely = nearest is None or nearest > _FAR
    against = ""
    if started_at > taken_in_at + _AHEAD:
        against = f"{_long(started_at - taken_in_at)} after it was taken in"
    elif lonely and any(at <= started_at <= at + _AFTER_EPOCH for at in _EPOCHS):
        against = "where clocks begin to count that have lost their battery"
    elif any(abs(gap - _ROLLOVER) < timedelta(days=60) for gap in away) and lonely:
        against = (
            f"{_long(_ROLLOVER)} from other runs of the engine, after which the weeks of satellite "
            "navigation begin anew"
        )
    elif nearest is not None and lonely and started_at < min(others):
        against = f"{_long(nearest)} before every other run of the engine"
    if not against:
        return ()
    evidence = f"The log's clock says {day}, {against}; if that is wrong, state the start"
    return (SensorDoubt("clock", (), evidence, (Remedy("started"),)),)


def _long(span: timedelta) -> str:
    days = span / timedelta(days=1)
    return f"{days / 365.25:.1f} years" if days > 365 else f"{days:.0f} days"
