"""Which kinds of harm a run could have shown, and for how long: unknown is not zero."""

from __future__ import annotations

import numpy as np

from babbitt.model.engine_running import interval_s, running
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import BoolArray, Run
from babbitt.model.run_windows import Window, whole


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
