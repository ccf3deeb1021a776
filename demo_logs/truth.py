"""The known truth of a session, summed over the noise-free grid and not by the pipeline.

A region is where a channel lies beyond its limit; regions closer than the merge gap are one event;
too short ones are dropped. Time in a pause of the log does not exist.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_logs.car import STEP_S, FloatArray
from demo_logs.engine import RUNNING_RPM
from demo_logs.planting import Fault, Planted
from demo_logs.session import Trace

BoolArray = npt.NDArray[np.bool_]

MERGE_S = 0.5
MERGE_TEMPERATURE_S = 2.0
BASQUIN_EXPONENT = 5.0
DEFICIT = "deficit"
SETTLED_S = 3.0  # oil pressure is not judged sooner after a start


@dataclass(frozen=True)
class Clock:
    """How times of the session appear in the log.

    Attributes:
        pauses: (start, end) of rows left out, s of the session.
        jump_at_s: the clock moves forward here; inf where it never does.
        jump_s: by so much.
    """

    pauses: tuple[tuple[float, float], ...]
    jump_at_s: float
    jump_s: float

    def stamp(self, time_s: float) -> float:
        """Return the log's time of a time of the session."""
        return time_s + (self.jump_s if time_s >= self.jump_at_s else 0.0)

    def logged(self, time_s: FloatArray) -> BoolArray:
        """Where the log has rows."""
        there = np.ones(len(time_s), dtype=np.bool_)
        for start, end in self.pauses:
            there &= (time_s < start) | (time_s >= end)
        return there


def clock_of(trace: Trace, faults: tuple[Fault, ...]) -> Clock:
    """Return the clock that the planned faults leave."""
    jumps = [(f.window(trace)[0], f.hold_s) for f in faults if f.sort == "clock_jump"]
    at, by = jumps[0] if jumps else (np.inf, 0.0)
    return Clock(tuple(f.window(trace) for f in faults if f.sort == "pause"), at, by)


@dataclass(frozen=True)
class _Harm:
    """One sort of harm on the grid: where it is, how fast it adds up, and what shows its worst."""

    kind: str
    beyond: BoolArray
    dose_per_s: FloatArray
    channel: str
    minimum_s: float
    merge_s: float = MERGE_S


def find_truth(trace: Trace, spec: dict[str, Any], clock: Clock) -> list[dict[str, Any]]:
    """Return every event of the session, a dictionary each, in order of start.

    Args:
        trace: finished session.
        spec: the engine spec, as read from TOML.
        clock: times are given as the log shows them.
    """
    found = []
    for harm in _harms(trace, spec):
        for first, last in _regions(harm, clock.logged(trace.time_s)):
            found.append(_event(trace, spec, clock, harm, first, last))
    return sorted(found, key=lambda event: (event["start_s"], event["kind"]))


def exposure_truth(trace: Trace, clock: Clock) -> dict[str, float]:
    """Return running seconds and revolutions of the session, as far as logged."""
    running = (trace.channels["rpm"] > RUNNING_RPM) & clock.logged(trace.time_s)
    return {
        "running_s": round(float(running.sum()) * STEP_S, 3),
        "revolutions": round(float(trace.channels["rpm"][running].sum()) / 60.0 * STEP_S, 2),
        "peak_rpm": round(float(trace.channels["rpm"].max()), 1),
    }


def with_cause(
    events: list[dict[str, Any]], planted: tuple[Planted, ...], trace: Trace, clock: Clock
) -> list[dict[str, Any]]:
    """Return the events with the cause that was planted.

    Raises:
        ValueError: an event was not planted, or a planted one is no event: the plan is wrong.
    """
    named, used = [], set()
    for event in events:
        over = [
            item
            for item in planted
            if item.kind == event["kind"] and _meet(item, event, trace, clock)
        ]
        if len(over) != 1:
            raise ValueError(f"{len(over)} planted items for {event}")
        used.add(over[0])
        named.append({**event, "cause": over[0].cause})
    if len(used) != len(planted):
        raise ValueError(f"planted but no event: {[item for item in planted if item not in used]}")
    return named


def _meet(item: Planted, event: dict[str, Any], trace: Trace, clock: Clock) -> bool:
    start, _, _, end = item.shape.knots(trace)
    return clock.stamp(start) < float(event["end_s"]) and float(event["start_s"]) < clock.stamp(end)


def _harms(trace: Trace, spec: dict[str, Any]) -> list[_Harm]:
    rpm, boost = trace.channels["rpm"], trace.channels["boost"]
    oil_c = trace.channels["oil_temperature"]
    coolant_c = trace.channels["coolant_temperature"]
    redline = spec["over_rev"]["redline_rpm"]
    boost_kpa = spec["boost"]["limit_kpa"]
    oil, coolant, cold = (
        spec[section] for section in ("oil_temperature", "coolant_temperature", "cold_load")
    )
    weight = (rpm / redline) ** (2.0 * BASQUIN_EXPONENT)
    blows = 1.0 + (np.maximum(0.0, rpm / spec["over_rev"]["mechanical_rpm"] - 1.0) / 0.02) ** 2
    thick = _viscosity(oil_c) / _viscosity(np.array(oil["warm_c"] - 20.0))
    is_cold = (oil_c < oil["warm_c"]) & (rpm > RUNNING_RPM)
    loaded = (rpm > cold["rpm"]) | (boost > cold["boost_kpa"])
    return [
        _Harm("over_rev", rpm > redline, rpm / 60.0 * weight * blows, "rpm", 0.0),
        _deficit(trace, spec),
        _Harm(
            "coolant_overheat",
            coolant_c > coolant["limit_c"],
            _doubling(coolant_c - coolant["limit_c"], 5.0),
            "coolant_temperature",
            coolant["min_duration_s"],
            MERGE_TEMPERATURE_S,
        ),
        _Harm(
            "oil_overheat",
            oil_c > oil["limit_c"],
            _doubling(oil_c - oil["limit_c"], 10.0),
            "oil_temperature",
            oil["min_duration_s"],
            MERGE_TEMPERATURE_S,
        ),
        _Harm(
            "overboost",
            boost > boost_kpa,
            boost - boost_kpa,
            "boost",
            spec["boost"]["min_duration_s"],
        ),
        _Harm("cold_load", is_cold & loaded, rpm / 60.0 * thick, "rpm", cold["min_duration_s"]),
    ]


def _deficit(trace: Trace, spec: dict[str, Any]) -> _Harm:
    """Oil pressure too low; what the car did when it began tells starvation from the rest."""
    oil = spec["oil_pressure"]
    rpm, pressure = trace.channels["rpm"], trace.channels["oil_pressure"]
    expected = trace.expected_kpa()
    starved = oil["starved_fraction"] * expected
    judged = (rpm > oil["floor_above_rpm"]) & (trace.time_s > trace.fired_s + SETTLED_S)
    missing = np.maximum(0.0, 1.0 - pressure / np.maximum(expected, 1.0))
    thin = _viscosity(np.array(100.0)) / _viscosity(trace.channels["oil_temperature"])
    return _Harm(
        DEFICIT,
        judged & (pressure < starved),
        rpm / 60.0 * 2.0 * missing**2 * thin,
        "oil_pressure",
        oil["min_duration_s"],
    )


def _doubling(excess_k: FloatArray, every_k: float) -> FloatArray:
    """Degree-seconds a second that double every so many degrees above a limit."""
    harm: FloatArray = every_k / np.log(2.0) * (2.0 ** (np.maximum(excess_k, 0.0) / every_k) - 1.0)
    return harm


def _viscosity(oil_c: FloatArray) -> FloatArray:
    """mm²/s of the oil that specs without one are taken to run on: 150 at 40 °C, 18.5 at 100."""
    at_40, at_100 = np.log10(np.log10(np.array([150.7, 19.2])))
    cold_k, warm_k = np.log10([313.15, 373.15])
    share = (np.log10(oil_c + 273.15) - cold_k) / (warm_k - cold_k)
    viscosity: FloatArray = 10.0 ** (10.0 ** (at_40 + share * (at_100 - at_40))) - 0.7
    return viscosity


def _cornering(trace: Trace, spec: dict[str, Any]) -> BoolArray:
    """Where the car corners now, or did within the lookback."""
    now = np.abs(trace.channels["lateral_g"]) > spec["cornering"]["lateral_g"]
    last = np.maximum.accumulate(np.where(now, trace.time_s, -np.inf))
    recent: BoolArray = trace.time_s - last <= spec["cornering"]["lookback_s"]
    return recent


def _regions(harm: _Harm, logged: BoolArray) -> list[tuple[int, int]]:
    """First and last index of each event: merged, long enough, none across a pause."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], harm.beyond & logged, [False]])))
    merged: list[tuple[int, int]] = []
    for first, after in edges.reshape(-1, 2):
        near = merged and (first - merged[-1][1]) * STEP_S < harm.merge_s
        if near and logged[merged[-1][1] : first].all():
            merged[-1] = (merged[-1][0], after)
        else:
            merged.append((first, after))
    return [
        (first, after - 1)
        for first, after in merged
        if harm.beyond[first:after].sum() * STEP_S >= harm.minimum_s
    ]


def _event(
    trace: Trace, spec: dict[str, Any], clock: Clock, harm: _Harm, first: int, last: int
) -> dict[str, Any]:
    within = np.arange(first, last + 1)
    beyond = within[harm.beyond[within]]
    logged = clock.logged(trace.time_s)
    values = trace.channels[harm.channel][within]
    kind, side = harm.kind, None
    if kind == DEFICIT:
        kind = "low_oil_pressure"
        if _cornering(trace, spec)[first]:
            kind, side = "oil_starvation", _side(trace, spec, first)
    ended_by = "release"
    if last + 1 == len(logged):
        ended_by = "end_of_run"
    elif not logged[last + 1]:
        ended_by = "gap"
    return {
        "kind": kind,
        "start_s": round(clock.stamp(first * STEP_S), 3),
        "end_s": round(clock.stamp(last * STEP_S), 3),
        "duration_s": round(len(beyond) * STEP_S, 3),
        "peak": round(float(values.min() if harm.kind == DEFICIT else values.max()), 2),
        "dose": round(float(harm.dose_per_s[beyond].sum()) * STEP_S, 4),
        "side": side,
        "ended_by": ended_by,
    }


def _side(trace: Trace, spec: dict[str, Any], at: int) -> str:
    """The way the corner turns, or turned last."""
    lateral = trace.channels["lateral_g"][: at + 1]
    last = np.flatnonzero(np.abs(lateral) > spec["cornering"]["lateral_g"])[-1]
    return "left" if lateral[last] > 0.0 else "right"
