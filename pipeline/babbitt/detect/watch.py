"""Which kinds of harm a run could have shown, and for how long: unknown is not zero."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from babbitt.detect.assemble import least_duration_s
from babbitt.model.engine_running import interval_s, running
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import BoolArray, Run
from babbitt.model.run_windows import Window, whole

StepCode = Literal["floor_line", "hottest_oil", "no_corners", "slow"]


@dataclass(frozen=True)
class Step:
    """One way in which a run is judged by less than a full log would allow.

    Attributes:
        code: floor_line, expected oil pressure is not learned yet and the spec's floor line stands
            in for it; hottest_oil, oil temperature is not logged and the least pressure is
            expected; no_corners, lateral acceleration is not logged and no loss is put down to a
            corner; slow, a channel hides what is shorter than `shortest_s`.
        channel: that is missing or slow; for floor_line the oil pressure.
        shortest_s: that can be seen, s; 0 where the channel's rate is not the matter.
    """

    code: StepCode
    channel: str
    shortest_s: float = 0.0


def steps(rates_hz: Mapping[str, float], spec: EngineSpec, *, learned: bool) -> tuple[Step, ...]:
    """Return by which steps a run is judged; none for a full log of a build that is known.

    Args:
        rates_hz: channel of the run -> rate at which it was logged.
        spec: of its engine.
        learned: whether the build's expected oil pressure is.
    """
    found = []
    if {"rpm", "oil_pressure"} <= rates_hz.keys():
        if not learned:
            found.append(Step("floor_line", "oil_pressure"))
        elif "oil_temperature" not in rates_hz:
            found.append(Step("hottest_oil", "oil_temperature"))
        if "lateral_g" not in rates_hz:
            found.append(Step("no_corners", "lateral_g"))
    shortest: dict[str, float] = {}
    for about in KINDS.values():
        if about.least_duration is None or about.channel not in rates_hz:
            continue
        wanted_s = float(spec.value_at(about.least_duration))
        seen_s = least_duration_s(rates_hz[about.channel], wanted_s)
        if seen_s > wanted_s:
            shortest[about.channel] = seen_s
    return (*found, *(Step("slow", name, seconds) for name, seconds in shortest.items()))


def watchable(run: Run) -> frozenset[Kind]:
    """Return the kinds that a run could show at all: those of which it has the channels."""
    return frozenset(
        kind
        for kind, about in KINDS.items()
        if all(name in run.signals for name in (about.channel, *about.needs))
    )


def watched(run: Run, spec: EngineSpec) -> dict[Kind, float]:
    """Return for how many seconds of running each kind could have been seen.

    Those are the seconds in which the engine ran and every channel that the kind needs was usable;
    0.0 for a kind that is not watchable in this run.
    """
    return watched_in(whole(run), spec)


def watched_in(window: Window, spec: EngineSpec) -> dict[Kind, float]:
    """Return the same for a stretch of a run; those of all stretches add up."""
    run, core = window.run, window.core
    seen = watchable(run)
    if not seen:
        return dict.fromkeys(KINDS, 0.0)
    seconds = interval_s(run.time_s, run.info.max_gap_s)[core]
    runs = running(run, spec.engine.idle_rpm)[core]
    running_s = float(seconds[runs].sum())

    def lost_s(channels: tuple[str, ...]) -> float:
        lost = np.flatnonzero(_unusable(run, channels)[core])
        return float(seconds[lost[runs[lost]]].sum())

    return {
        kind: running_s - lost_s((about.channel, *about.needs)) if kind in seen else 0.0
        for kind, about in KINDS.items()
    }


def _unusable(run: Run, channels: tuple[str, ...]) -> BoolArray:
    unusable: BoolArray = ~run.signals[channels[0]].usable()
    for name in channels[1:]:
        unusable |= ~run.signals[name].usable()
    return unusable
