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

TREND_S = 0.5
"""Acceleration that follows from speed is a mean over this long (our own choice)."""

TurnArray = npt.NDArray[np.int8]
"""1 left-hander, -1 right-hander (ISO 8855), 2 braking, -2 accelerating, 0 none, or not known."""

_KM_H_PER_S_IN_G = 1.0 / 3.6 / 9.80665


@dataclass(frozen=True, eq=False)
class Conditions:
    """The state of engine and car; shape (samples,) each.

    Attributes:
        running: the engine runs; where engine speed is lost, as before.
        settled: it has run for PRIMING_S; an engine that runs as the log begins has.
        turning: what throws the oil about, now or within the lookback; see TurnArray.
        oil_c: oil temperature in °C, held for HOLD_OIL_S where it is lost; NaN: not known.
        straight: share of the expected oil pressure that the run has where the car goes straight.
    """

    running: BoolArray
    settled: BoolArray
    turning: TurnArray
    oil_c: ChannelArray
    straight: float = 1.0

    @property
    def priming(self) -> BoolArray:
        """The engine was started and has not settled yet; shape (samples,)."""
        started: BoolArray = self.running & ~self.settled
        return started


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
    """Tell where the car corners, brakes or accelerates hard, or did within the lookback.

    What counts is the acceleration of the car as a whole, and which way it is greatest.

    Returns:
        See TurnArray; shape (samples,). All 0 for a run without lateral acceleration.
    """
    lateral = run.signals.get("lateral_g")
    if lateral is None or not len(run.time_s):
        return np.zeros(len(run.time_s), dtype=np.int8)
    now = _thrown_now(lateral, longitudinal_g(run), limits.lateral_g)
    begins = np.append(0, np.flatnonzero(now[1:] != now[:-1]) + 1)
    ends = np.append(begins[1:], len(now))
    corners = now[begins] != 0
    return _held(run.time_s, begins[corners], ends[corners], now[begins[corners]], limits)


def longitudinal_g(run: Run) -> ChannelArray | None:
    """Return acceleration forwards in g, as logged or as speed tells; None: neither is logged.

    Returns:
        Shape (samples,); 0 where it is not known.
    """
    logged = run.signals.get("longitudinal_g")
    if logged is not None:
        return np.where(logged.usable(), logged.values, np.float32(0.0))
    speed = run.signals.get("speed")
    if speed is None:
        return None
    known = speed.usable()
    if not known.any():
        return None
    time_s, values = run.time_s[known], speed.values[known]
    half_s = max(TREND_S / 2.0, 1.0 / speed.native_hz if speed.native_hz > 0.0 else 0.0)
    later, earlier = run.time_s + half_s, run.time_s - half_s
    gained = np.interp(later, time_s, values) - np.interp(earlier, time_s, values)
    # Across a gap, and at the ends of the log, nothing is known of what lies between.
    near = np.searchsorted(time_s, later) - np.searchsorted(time_s, earlier)
    spanned = (near > 0) & (later <= time_s[-1]) & (earlier >= time_s[0])
    found = np.where(spanned, gained / (2.0 * half_s) * _KM_H_PER_S_IN_G, 0.0)
    return found.astype(np.float32)


def _thrown_now(lateral: Signal, forwards_g: ChannelArray | None, limit_g: float) -> TurnArray:
    sideways_g = np.where(lateral.usable(), lateral.values, np.float32(0.0))
    left = sideways_g > limit_g
    right = sideways_g < -limit_g
    now: TurnArray = left.view(np.int8) - right.view(np.int8)
    if forwards_g is None:
        return now
    hard = np.hypot(sideways_g, forwards_g) > limit_g
    along = np.abs(forwards_g) > np.abs(sideways_g)
    now = np.where(hard, np.sign(sideways_g), 0).astype(np.int8)
    now[hard & along & (forwards_g < 0.0)] = 2
    now[hard & along & (forwards_g > 0.0)] = -2
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
