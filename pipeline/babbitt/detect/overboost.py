"""Overboost: boost above its limit."""

from __future__ import annotations

import numpy as np

from babbitt.detect.assemble import (
    MERGE_GAP_S,
    SURE,
    Detector,
    below,
    events_of,
    least_duration_s,
    max_gap_s,
)
from babbitt.detect.spans import find_spans
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.run import Run

RELEASE_KPA = 5.0
"""Below the limit; a boost controller swings by about as much (common practice, no source)."""


def overboosts(run: Run, spec: EngineSpec) -> tuple[Event, ...]:
    """Find where boost was above its limit; the dose is in kPa·s above it."""
    boost = run.signals["boost"]
    excess = boost.values - np.float32(spec.boost.limit_kpa)
    spans = find_spans(
        run.time_s,
        excess,
        release=-RELEASE_KPA,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=least_duration_s(boost.native_hz, spec.boost.min_duration_s),
        max_gap_s=max_gap_s(run, "boost"),
        usable=boost.usable(),
        long_steps=run.long_steps,
    )
    return events_of(
        run,
        spec,
        spans,
        ["overboost"] * len(spans),
        values=boost.values,
        peaks=spans.peaks(boost.values),
        doses=spans.integrate(np.positive, excess, degree=1),
    )


DETECTOR = Detector(
    find=lambda run, spec, _surface, _conditions: overboosts(run, spec),
    released=lambda run, spec, _: below(run, "boost", spec.boost.limit_kpa - SURE * RELEASE_KPA),
    channels=("boost",),
)
