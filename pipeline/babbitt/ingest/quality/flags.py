"""Quality of one channel's samples: a flag each, and the faults of the sensor behind the bad ones.

The checks run one after the other, each on the samples that those before it left standing, so that
a fault is not charged to its neighbours: gross range, spike, dropout, flat line, rate of change.
Only a change that no engine can make turns a sample bad; one that is merely fast is suspect at
worst, and is judged.

A whole channel is judged at once: how long it holds a value, how often readings repeat and how long
a sensor may have read nothing are known only at its end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from babbitt.ingest.quality.checks import flat_line, gross_range, merge, rate_of_change, spike
from babbitt.ingest.quality.dropout import dropout
from babbitt.ingest.quality.lost import lost_or_unplugged
from babbitt.model.channels import FlagLimits, channels
from babbitt.model.engine_running import gap_above_s, stretches
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
    IndexArray,
)

Reason = Literal["range", "spike", "dropout", "doubtful", "stuck", "rate"]


_CHECKS: tuple[Reason, ...] = ("range", "spike", "dropout", "stuck", "rate")
_REASONS: tuple[Reason, ...] = ("range", "spike", "dropout", "doubtful", "stuck", "rate")

LEAST_HOLDS = 20
"""Changes of value needed to tell a repeated slow channel from a quiet one."""

COARSE_SHARE = 0.005
"""Of a reading: steps as large hide the ripple of a pump (common practice, no source)."""

LEAST_MISSING_S = 1.0
"""Less is not worth a sentence, nor are two samples: a slow channel begins and ends in the run."""


@dataclass(frozen=True)
class Fault:
    """A stretch of samples that one check found bad, or could not make out.

    Attributes:
        reason: range, beyond what the sensor can read; spike, a single sample; dropout, a sensor
            unplugged for a while; doubtful, the same or a loss of pressure: its samples are
            suspect, not bad; stuck, one value for too long; rate, a lone impossible step.
        start_s: time of its first sample.
        end_s: time of the first sample after it; of its last where the channel ends with it.
        value: its first reading, in the channel's unit.
        why: what speaks for and against, of a doubtful one.
    """

    reason: Reason
    start_s: float
    end_s: float
    value: float
    why: str = ""


@dataclass(frozen=True)
class Flagged:
    """What was made of one channel.

    Attributes:
        flags: quality flag of each sample; shape (samples,).
        faults: the stretches behind the bad and doubtful ones, in order of their start.
    """

    flags: FlagArray
    faults: tuple[Fault, ...]


def flag_samples(
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits,
    *,
    turning: BoolArray | None = None,
    speed_rpm: ChannelArray | None = None,
) -> Flagged:
    """Flag the samples of one channel as the logger recorded them, before any interpolation.

    Args:
        time_s: seconds, strictly increasing; shape (samples,).
        values: in the unit of `limits`, NaN where missing; shape (samples,).
        limits: of the channel.
        turning: where the engine turns at these samples; for engine speed itself, ``values > 200``
            or the like. None: unknown, so flat lines are not judged, and a sensor counts as
            unplugged only if it was plugged in again.
        speed_rpm: of the engine at these samples, NaN where it is not known; None: nowhere, and no
            flat line is put down to it.

    Returns:
        Flags of the same shape, and the faults: hand those of all channels to
        `quality_sentences` once the run is made.
    """
    present = ~np.isnan(values)
    if not present.all():
        found = flag_samples(
            time_s[present],
            values[present],
            limits,
            turning=_taken(turning, present),
            speed_rpm=_taken(speed_rpm, present),
        )
        flags = np.full(len(values), MISSING, dtype=np.uint8)
        flags[present] = found.flags
        return Flagged(flags, found.faults)
    held = _holds(values)
    if held is not None:
        turns, speed = _taken(turning, held), _taken(speed_rpm, held)
        found = _judge(time_s[held], values[held], limits, turns, speed)
        lengths = np.diff(np.append(held, len(values)))
        return Flagged(np.repeat(found.flags, lengths), found.faults)
    return _judge(time_s, values, limits, turning, speed_rpm)


def quality_sentences(
    rates_hz: Mapping[str, float],
    faults: Mapping[str, Sequence[Fault]],
    missing_s: Mapping[str, float],
    run_s: float,
) -> tuple[str, ...]:
    """Say in plain words what was wrong with the sensors of a run.

    Args:
        rates_hz: channel of the run -> rate at which it was recorded.
        faults: channel -> the faults that `flag_samples` found in it.
        missing_s: channel -> seconds of the run in which it is missing.
        run_s: seconds of the run, without its gaps.

    Returns:
        At most one sentence for each channel and reason, channels in the order of the catalogue.
    """
    sentences: list[str] = []
    for name, channel in channels().items():
        if name not in rates_hz:
            continue
        title, unit = channel.title[0].upper() + channel.title[1:], channel.unit.symbol
        for reason in _REASONS:
            found = [fault for fault in faults.get(name, ()) if fault.reason == reason]
            if found:
                sentences.append(f"{title} {_said(reason, found, unit)}.")
        lost_s = missing_s.get(name, 0.0)
        # A slow channel begins and ends within the run, by less than two of its samples.
        if lost_s >= LEAST_MISSING_S and lost_s * rates_hz[name] >= 2.0:
            share = f"{lost_s / run_s:.0%}"
            sentences.append(f"{title} is missing for {lost_s:.1f} s ({share} of the run).")
    return tuple(sentences)


def _judge(
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits,
    turning: BoolArray | None,
    speed_rpm: ChannelArray | None,
) -> Flagged:
    max_gap_s = gap_above_s(time_s)
    flags = np.full(len(values), GOOD, dtype=np.uint8)
    faults: list[Fault] = []
    standing: IndexArray | None = None  # None: all of them, and nothing to copy
    for reason in _CHECKS:
        found = _check(reason, time_s, values, limits, max_gap_s, turning, speed_rpm)
        if reason == "dropout" and limits.nothing is not None:
            lost = lost_or_unplugged(time_s, values, limits, max_gap_s=max_gap_s, turning=turning)
            found = merge(found, lost.flags)
            faults += [_fault("doubtful", time_s, values, *doubt) for doubt in lost.doubts]
        worse = np.flatnonzero(found >= SUSPECT)
        if not len(worse):
            continue
        at = worse if standing is None else standing[worse]
        flags[at] = merge(flags[at], found[worse])
        bad = found == BAD
        if bad.any():
            faults += _faults(reason, time_s, values, bad)
            left = ~bad
            standing = np.flatnonzero(left) if standing is None else standing[left]
            time_s, values = time_s[left], values[left]
            turning, speed_rpm = _taken(turning, left), _taken(speed_rpm, left)
    return Flagged(flags, tuple(sorted(faults, key=lambda fault: fault.start_s)))


def _check(
    reason: Reason,
    time_s: FloatArray,
    values: ChannelArray,
    limits: FlagLimits,
    max_gap_s: float,
    turning: BoolArray | None,
    speed_rpm: ChannelArray | None,
) -> FlagArray:
    match reason:
        case "range":
            return gross_range(values, limits.gross_fail, limits.gross_suspect)
        case "spike":
            return spike(time_s, values, limits.spike, above_rate_per_s=limits.rate_per_s[0])
        case "dropout":
            return dropout(time_s, values, limits, max_gap_s=max_gap_s, turning=turning)
        case "stuck":
            if turning is None:
                return np.full(len(values), NOT_EVALUATED, dtype=np.uint8)
            if speed_rpm is not None:
                turning = turning & ~_still_by_speed(time_s, values, limits, speed_rpm)
            flat = (limits.flat_tolerance, limits.flat_suspect_s, limits.flat_fail_s)
            found = flat_line(time_s, values, *flat, max_gap_s=max_gap_s, turning=turning)
            found[_nothing(values, limits)] = GOOD
            return found
        case "rate":
            found = rate_of_change(time_s, values, limits.rate_per_s, above_step=limits.spike[0])
            decided = _nothing(values, limits)
            decided[1:] |= decided[:-1]  # the step back
            np.minimum(found, SUSPECT, out=found, where=decided)
            return found
        case "doubtful":
            raise ValueError("no check of its own: what the one for dropouts cannot make out")


def _nothing(values: ChannelArray, limits: FlagLimits) -> BoolArray:
    """Tell where a channel reads nothing, and `lost_or_unplugged` has decided."""
    if limits.nothing is None:
        return np.zeros(len(values), dtype=np.bool_)
    return (values >= limits.nothing[0]) & (values <= limits.nothing[1])


def _still_by_speed(
    time_s: FloatArray, values: ChannelArray, limits: FlagLimits, speed_rpm: ChannelArray
) -> BoolArray:
    """Tell where a reading may well stand still: its steps are coarse, and the engine runs evenly.

    Pressure goes with speed, so that a share of speed is as much of it. Where speed is not known,
    nothing is put down to it.
    """
    steps = np.abs(np.diff(values))
    steps = steps[steps > 0.0]
    if not len(steps) or not limits.flat_suspect_s:
        return np.zeros(len(values), dtype=np.bool_)
    step = steps.min()
    size = np.abs(values)
    block = np.floor(time_s / limits.flat_suspect_s)
    begins = np.flatnonzero(np.diff(block, prepend=block[0] - 1.0))
    most, least = (each.reduceat(speed_rpm, begins) for each in (np.maximum, np.minimum))
    # over three blocks, for a flat line may begin in one and end in the next
    around = np.arange(len(begins))[:, np.newaxis] + (-1, 0, 1)
    np.clip(around, 0, len(begins) - 1, out=around)
    most, least = most[around].max(axis=1), least[around].min(axis=1)
    uneven = np.repeat(
        (most - least) / np.maximum(most, 1.0), np.diff(np.append(begins, len(values)))
    )
    still: BoolArray = (step >= COARSE_SHARE * size) & (uneven * size <= step)
    return still


_Array = TypeVar("_Array", BoolArray, ChannelArray)


def _taken(samples: _Array | None, at: IndexArray | BoolArray) -> _Array | None:
    return None if samples is None else samples[at]


def _faults(
    reason: Reason, time_s: FloatArray, values: ChannelArray, bad: BoolArray
) -> list[Fault]:
    return [_fault(reason, time_s, values, a, b) for a, b in zip(*stretches(bad), strict=True)]


def _fault(
    reason: Reason, time_s: FloatArray, values: ChannelArray, first: int, last: int, why: str = ""
) -> Fault:
    end_s = float(time_s[min(last + 1, len(time_s) - 1)])
    return Fault(reason, float(time_s[first]), end_s, float(values[first]), why)


def _holds(values: ChannelArray) -> IndexArray | None:
    """Return the first sample of each hold where the logger repeats a slower channel, else None.

    A channel is held where its values commonly stay as long as the shortest do (the fifth
    percentile), two samples or more. A quiet channel of coarse steps stays for any length.
    """
    changes = values[1:] != values[:-1]
    count = np.count_nonzero(changes)
    if not LEAST_HOLDS <= count <= len(values) // 2:
        return None
    begins = np.concatenate([[0], np.flatnonzero(changes) + 1])
    lengths = np.diff(np.append(begins, len(values)))
    shortest, usual = np.percentile(lengths, [5, 50])
    hold = int(shortest)
    if hold < 2 or usual > hold + 1:
        return None
    holds = np.maximum(1, (lengths + hold // 2) // hold)
    nth = np.arange(holds.sum()) - np.repeat(np.cumsum(holds) - holds, holds)
    firsts: IndexArray = np.repeat(begins, holds) + hold * nth
    return firsts


def _said(reason: Reason, faults: Sequence[Fault], unit: str) -> str:
    first, longest = faults[0], _longest(faults)
    reading = f"{_number(first.value)} {unit}"
    match reason:
        case "range":
            return (
                f"reads beyond its sensor's range {_spell(faults)} (first {reading} at "
                f"{first.start_s:.1f} s); not counted"
            )
        case "spike":
            at = f"at {first.start_s:.1f} s, {reading}"
            return f"has {_several(faults, 'single-sample spike', at)}; not counted"
        case "dropout":
            return f"unplugged {_spell(faults)}; not counted as harm"
        case "doubtful":
            return (
                f"reads {_number(longest.value)} {unit} {_spell(faults)}: {longest.why}; either "
                "the oil was lost or the sensor was, so it counts with low confidence: settle it "
                "in a review"
            )
        case "stuck":
            return (
                f"stuck at {_number(longest.value)} {unit} {_spell(faults)}; "
                "that time counts as not watched"
            )
        case "rate":
            at = f"at {first.start_s:.1f} s"
            return f"has {_several(faults, 'impossible step', at)}; not counted"


def _several(faults: Sequence[Fault], noun: str, at: str) -> str:
    return f"1 {noun} ({at})" if len(faults) == 1 else f"{len(faults)} {noun}s (first {at})"


def _spell(faults: Sequence[Fault]) -> str:
    """Say how often and how long, like "3 times, 4.2 s in all, longest 1.9 s at 412.0 s"."""
    longest = _longest(faults)
    seconds = longest.end_s - longest.start_s
    if len(faults) == 1:
        return f"for {seconds:.1f} s, from {longest.start_s:.1f} s to {longest.end_s:.1f} s"
    total = sum(fault.end_s - fault.start_s for fault in faults)
    return (
        f"{len(faults)} times, {total:.1f} s in all, longest {seconds:.1f} s at "
        f"{longest.start_s:.1f} s"
    )


def _longest(faults: Sequence[Fault]) -> Fault:
    return max(faults, key=lambda fault: fault.end_s - fault.start_s)


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:,.1f}"
