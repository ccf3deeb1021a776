"""Which kinds of harm a run could have shown, and for how long: unknown is not zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from babbitt.model.engine_running import interval_s, running
from babbitt.model.engine_spec import KINDS, EngineSpec, Kind
from babbitt.model.run import BoolArray, Run
from babbitt.model.run_windows import Window, whole

LEAST_SAMPLES = 2
"""A kind is not watched with fewer samples in its minimum duration."""

RATE_TOLERANCE = 0.05
"""Loggers miss their nominal rate by a little."""


@dataclass(frozen=True)
class _Need:
    """What it takes to see a kind: a channel fast enough for its minimum duration, and others."""

    channel: str
    min_duration_s: float
    others: tuple[str, ...]


def watchable(run: Run, spec: EngineSpec) -> frozenset[Kind]:
    """Return the kinds that a run could show at all: channels present and sampled fast enough."""
    return frozenset(kind for kind in KINDS if _can_show(run, _needs(spec)[kind]))


def watched(run: Run, spec: EngineSpec) -> dict[Kind, float]:
    """Return for how many seconds of running each kind could have been seen.

    Those are the seconds in which the engine ran and every channel that the kind needs was usable;
    0.0 for a kind that is not watchable in this run.
    """
    return watched_in(whole(run), spec)


def watched_in(window: Window, spec: EngineSpec) -> dict[Kind, float]:
    """Return the same for a stretch of a run; those of all stretches add up."""
    run, core = window.run, window.core
    needs = _needs(spec)
    seen = watchable(run, spec)
    if not seen:
        return dict.fromkeys(KINDS, 0.0)
    seconds = interval_s(run.time_s, run.info.max_gap_s)[core]
    runs = running(run, spec.engine.idle_rpm)[core]
    running_s = float(seconds[runs].sum())

    def lost_s(channels: tuple[str, ...]) -> float:
        lost = np.flatnonzero(_unusable(run, channels)[core])
        return float(seconds[lost[runs[lost]]].sum())

    return {
        kind: running_s - lost_s((needs[kind].channel, *needs[kind].others))
        if kind in seen
        else 0.0
        for kind in KINDS
    }


def _needs(spec: EngineSpec) -> dict[Kind, _Need]:
    oil, coolant = spec.oil_temperature, spec.coolant_temperature
    pressure_s = spec.oil_pressure.min_duration_s
    return {
        # No minimum in the spec: an over-rev of one sample, at any rate, is an over-rev.
        "over_rev": _Need("rpm", 0.0, ()),
        "oil_starvation": _Need("oil_pressure", pressure_s, ("rpm", "lateral_g")),
        "low_oil_pressure": _Need("oil_pressure", pressure_s, ("rpm",)),
        "coolant_overheat": _Need("coolant_temperature", coolant.min_duration_s, ("rpm",)),
        "oil_overheat": _Need("oil_temperature", oil.min_duration_s, ("rpm",)),
        "overboost": _Need("boost", spec.boost.min_duration_s, ("rpm",)),
        # The oil warms slowly: its own rate does not matter.
        "cold_load": _Need("rpm", spec.cold_load.min_duration_s, ("oil_temperature",)),
    }


def _can_show(run: Run, need: _Need) -> bool:
    if any(name not in run.signals for name in (need.channel, *need.others)):
        return False
    samples = run.signals[need.channel].native_hz * need.min_duration_s
    return need.min_duration_s == 0.0 or samples >= LEAST_SAMPLES * (1.0 - RATE_TOLERANCE)


def _unusable(run: Run, channels: tuple[str, ...]) -> BoolArray:
    unusable: BoolArray = ~run.signals[channels[0]].usable()
    for name in channels[1:]:
        unusable |= ~run.signals[name].usable()
    return unusable
