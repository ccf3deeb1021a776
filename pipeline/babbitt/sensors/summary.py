"""What the sensors of a run read, in a few numbers: enough to tell one run's from another's."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from babbitt.model.channels import channels
from babbitt.model.engine_running import CRANKING_BELOW_RPM, interval_s, stretches, usual_step_s
from babbitt.model.run import BoolArray, FloatArray, Run, Signal
from babbitt.sensors.clocks import SecondClock, second_clocks
from babbitt.sensors.corners import Corner, corners_of

STILL_BELOW_RPM = 50.0
"""A crank sensor sees nothing slower (common practice, no source)."""

STANDING_S = 8.0
"""Oil pressure is gone so long after a stop (common practice, no source)."""

SETTLED_S = 3.0
"""After a start pressures are not judged for so long (common practice, no source)."""

IDLING_BELOW_RPM = 1800.0
"""No engine makes boost, nor much oil pressure, below (common practice, no source)."""

STRAIGHT_BELOW_G = 0.3
"""Oil lies still in the sump (common practice, no source)."""

BIN_RPM = 1000.0
LEAST_S = 1.0
"""A level of less is none."""

_LEVELS = ("oil_pressure", "oil_temperature", "coolant_temperature", "boost", "lateral_g")

_ALWAYS_WHOLE = ("lateral_g",)
"""It is zero on every straight: in the wrong unit, only the corners are out of range."""


@dataclass(frozen=True)
class Level:
    """What a channel reads in some state of the engine.

    Attributes:
        seconds: how long it was seen.
        low: a tenth of the readings lie below, in the channel's unit.
        median: half of them do.
        high: nine tenths of them do.
    """

    seconds: float
    low: float
    median: float
    high: float


@dataclass(frozen=True)
class PressureAt:
    """Median oil pressure, kPa, of the samples around an engine speed, 1/min, not cornering."""

    rpm: float
    kpa: float
    seconds: float


@dataclass(frozen=True)
class SensorSummary:
    """What the sensors of a run read. A channel or state that was not seen is left out.

    Attributes:
        standing: channel -> its level with the engine at rest.
        idling: channel -> its level below IDLING_BELOW_RPM.
        running: channel -> its level with the engine running, at any speed.
        top_rpm: one reading of engine speed in fifty lies higher, zeros left out; None: it never
            turned.
        turned_s: seconds in which it turned.
        pressure: oil pressure by engine speed, slowest first.
        corners: in their order.
        clocks: other columns that count seconds.
    """

    standing: Mapping[str, Level]
    idling: Mapping[str, Level]
    running: Mapping[str, Level]
    top_rpm: float | None
    turned_s: float
    pressure: tuple[PressureAt, ...]
    corners: tuple[Corner, ...]
    clocks: tuple[SecondClock, ...]

    def to_json(self) -> str:
        """Return it as JSON."""
        return json.dumps(_rounded(asdict(self)), separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> SensorSummary:
        """Return the summary that `to_json` wrote."""
        raw = json.loads(text)

        def levels(name: str) -> dict[str, Level]:
            return {channel: Level(**row) for channel, row in raw[name].items()}

        return cls(
            standing=levels("standing"),
            idling=levels("idling"),
            running=levels("running"),
            top_rpm=raw["top_rpm"],
            turned_s=raw["turned_s"],
            pressure=tuple(PressureAt(**row) for row in raw["pressure"]),
            corners=tuple(Corner(**row) for row in raw["corners"]),
            clocks=tuple(SecondClock(**row) for row in raw["clocks"]),
        )


def summarise(run: Run) -> SensorSummary:
    """Sum up what the sensors of a run read.

    A channel's bad samples are left out of a level, unless most of them are bad: then what makes
    them so may be what is looked for. Of _ALWAYS_WHOLE none is left out.

    Args:
        run: with `rpm`; thinned out (`thin.Thinner`) it says the same.
    """
    time_s, signals = run.time_s, run.signals
    seconds = interval_s(time_s, max(run.info.max_gap_s, 3.0 * usual_step_s(time_s)))
    rpm = signals["rpm"]
    known = _believed(rpm, np.isfinite(rpm.values))
    turns = known & (rpm.values > 0.0)
    runs = known & (rpm.values > CRANKING_BELOW_RPM)
    settled = _lasting(time_s, runs, SETTLED_S)
    stands = _lasting(time_s, known & (rpm.values < STILL_BELOW_RPM), STANDING_S, from_start=True)
    idles = settled & (rpm.values < IDLING_BELOW_RPM)
    there = {name: signals[name] for name in _LEVELS if name in signals}
    return SensorSummary(
        standing=_levels(there, stands, seconds),
        idling=_levels(there, idles, seconds),
        running=_levels(there, settled, seconds),
        top_rpm=float(np.percentile(rpm.values[turns], 98.0)) if turns.any() else None,
        turned_s=float(seconds[turns].sum()),
        pressure=_pressure(signals, settled, seconds),
        corners=corners_of(time_s, signals.get("lateral_g")),
        clocks=second_clocks(time_s, _others(signals)),
    )


def _others(signals: Mapping[str, Signal]) -> dict[str, Signal]:
    return {name: signal for name, signal in signals.items() if name not in channels()}


def _lasting(
    time_s: FloatArray, state: BoolArray, after_s: float, *, from_start: bool = False
) -> BoolArray:
    """Tell where a state has lasted for `after_s`; one that the log begins with has, if told so."""
    lasting = state.copy()
    for first, last in zip(*stretches(state), strict=True):
        if first or not from_start:
            until = np.searchsorted(time_s, time_s[first] + after_s)
            lasting[first : min(int(until), last + 1)] = False
    return lasting


def _levels(
    signals: Mapping[str, Signal], state: BoolArray, seconds: FloatArray
) -> dict[str, Level]:
    found = {
        name: _level(signal, state, seconds, whole=name in _ALWAYS_WHOLE)
        for name, signal in signals.items()
    }
    return {name: level for name, level in found.items() if level is not None}


def _level(
    signal: Signal, state: BoolArray, seconds: FloatArray, *, whole: bool = False
) -> Level | None:
    there = state & np.isfinite(signal.values)
    if not whole:
        there = _believed(signal, there)
    seen_s = float(seconds[there].sum())
    if seen_s < LEAST_S:
        return None
    low, median, high = np.percentile(signal.values[there], (10.0, 50.0, 90.0))
    return Level(seen_s, float(low), float(median), float(high))


def _believed(signal: Signal, there: BoolArray) -> BoolArray:
    """Return the samples that are usable, or all of those there where most are not."""
    usable = there & signal.usable()
    return usable if 2 * np.count_nonzero(usable) >= np.count_nonzero(there) else there


def _pressure(
    signals: Mapping[str, Signal], settled: BoolArray, seconds: FloatArray
) -> tuple[PressureAt, ...]:
    pressure, lateral, rpm = (signals.get(n) for n in ("oil_pressure", "lateral_g", "rpm"))
    if pressure is None or rpm is None:
        return ()
    straight = settled.copy()
    if lateral is not None:
        straight &= ~(np.abs(lateral.values) > STRAIGHT_BELOW_G)
    bins = np.floor(np.where(straight, rpm.values, -1.0) / BIN_RPM)
    found = []
    for number in np.unique(bins[straight]):
        level = _level(pressure, straight & (bins == number), seconds)
        if level is not None:
            found.append(PressureAt(float((number + 0.5) * BIN_RPM), level.median, level.seconds))
    return tuple(found)


def _rounded(value: Any) -> Any:
    """Keep six digits of every number: what a sensor reads has no more."""
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if isinstance(value, Mapping):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_rounded(each) for each in value]
    return value
