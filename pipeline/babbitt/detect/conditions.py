"""What the engine and the car were doing at each sample: settled or not, cornering or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from babbitt.model.engine_running import lost_samples, running
from babbitt.model.engine_spec import CorneringSection, EngineSpec
from babbitt.model.run import BoolArray, ChannelArray, FloatArray, IndexArray, Run, Signal

PRIMING_S = 3.0
"""Oil pressure is not judged for so long after a start (common practice, no source)."""

HOLD_OIL_S = 10.0
"""Litres of oil hardly change temperature within this time (common practice, no source)."""

TurnArray = npt.NDArray[np.int8]


@dataclass(frozen=True, eq=False)
class Conditions:
    """The state of engine and car; shape (samples,) each.

    Attributes:
        running: the engine runs; where engine speed is lost, as before.
        settled: it has run for PRIMING_S; an engine that runs as the log begins has.
        turning: cornering now or within the lookback: 1 left, -1 right (ISO 8855), else 0.
        oil_c: oil temperature in °C, held for HOLD_OIL_S where it is lost; NaN: not known.
    """

    running: BoolArray
    settled: BoolArray
    turning: TurnArray
    oil_c: ChannelArray


def conditions_of(run: Run, spec: EngineSpec) -> Conditions:
    """Tell what engine and car were doing at each sample of a run with `rpm`."""
    runs = _held_running(run, spec.engine.idle_rpm)
    return Conditions(
        running=runs,
        settled=_settled(run.time_s, runs),
        turning=turning(run, spec.cornering),
        oil_c=held_oil_temperature(run),
    )


def _held_running(run: Run, idle_rpm: float) -> BoolArray:
    runs = running(run, idle_rpm)
    lost, before = _lost(run.signals["rpm"])
    runs[lost] = runs[before]
    return runs


def _settled(time_s: FloatArray, runs: BoolArray) -> BoolArray:
    starts = np.flatnonzero(runs[1:] & ~runs[:-1]) + 1
    stops = np.searchsorted(time_s, time_s[starts] + PRIMING_S)
    settled = runs.copy()
    for start, stop in zip(starts, stops, strict=True):
        settled[start:stop] = False
    return settled


def held_oil_temperature(run: Run) -> ChannelArray:
    """Return oil temperature, held for HOLD_OIL_S where it is lost, then NaN.

    Returns:
        °C; shape (samples,). All NaN for a run without the channel.
    """
    signal = run.signals.get("oil_temperature")
    if signal is None:
        return np.full(len(run.time_s), np.nan, dtype=np.float32)
    lost, before = _lost(signal)
    recent = run.time_s[lost] - run.time_s[before] <= HOLD_OIL_S
    held = signal.values.copy()
    held[~signal.usable()] = np.nan
    held[lost[recent]] = signal.values[before[recent]]
    return held


def _lost(signal: Signal) -> tuple[IndexArray, IndexArray]:
    """Return the samples that are lost and the last usable one before each, where there is one."""
    lost, before = lost_samples(signal.usable())
    return lost[before >= 0], before[before >= 0]


def turning(run: Run, limits: CorneringSection) -> TurnArray:
    """Tell where the car corners, or did within the lookback, and which way.

    Returns:
        1 left-hander, -1 right-hander, 0 neither, or not known; shape (samples,).
    """
    signal = run.signals.get("lateral_g")
    if signal is None or not len(run.time_s):
        return np.zeros(len(run.time_s), dtype=np.int8)
    now = _cornering_now(signal, limits.lateral_g)
    begins = np.append(0, np.flatnonzero(now[1:] != now[:-1]) + 1)
    ends = np.append(begins[1:], len(now))
    corners = now[begins] != 0
    return _held(run.time_s, begins[corners], ends[corners], now[begins[corners]], limits)


def _cornering_now(signal: Signal, limit_g: float) -> TurnArray:
    left = signal.values > limit_g
    right = signal.values < -limit_g
    now = left.view(np.int8) - right.view(np.int8)
    now[~signal.usable()] = 0
    return now


def _held(
    time_s: FloatArray,
    begins: IndexArray,
    ends: IndexArray,
    sides: TurnArray,
    limits: CorneringSection,
) -> TurnArray:
    """Hold each corner for the lookback, or until the next one."""
    until = np.searchsorted(time_s, time_s[ends - 1] + limits.lookback_s, side="right")
    until = np.minimum(until, np.append(begins[1:], len(time_s)))
    bounds = np.column_stack((begins, until)).ravel()
    lengths = np.diff(bounds, prepend=0, append=len(time_s))
    values = np.zeros(len(lengths), dtype=np.int8)
    values[1::2] = sides
    return np.repeat(values, lengths)
