"""Over-rev: engine speed above the redline, and whether the engine or the wheels drove it there."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from babbitt.detect.assemble import (
    MERGE_GAP_S,
    SURE,
    Detector,
    below,
    events_of,
    max_gap_s,
)
from babbitt.detect.doses import fatigue_and_blows
from babbitt.detect.spans import find_spans
from babbitt.model.engine_spec import EngineSpec, OverRevSection
from babbitt.model.event import CERTAIN, Confidence, Event, Reason, confidence_of
from babbitt.model.run import BAD, ChannelArray, FloatArray, Run

RELEASE_RPM = 100.0
"""Below the redline; a rev limiter swings by about as much (common practice, no source)."""

MIN_DURATION_S = 0.05
"""Five samples at 100 Hz: a logger cannot vouch for less (common practice, no source)."""

RISE_WINDOW_S = 0.1
"""Speed of rise is measured over this long, so that noise at high rates does not count."""

RISE_BEFORE_S = 0.3
"""A wrong downshift winds an engine up within this long (common practice, no source)."""

NO_BOOST_KPA = 5.0
CLOSED_THROTTLE_PERCENT = 5.0

SHUT_BOOST_KPA = -20.0
"""Below ambient, at speed: the throttle is shut (common practice, no source)."""

GEARED_SHARE = 0.5
"""Of how fast an engine revs freely: with a car to pull it gains no faster (common practice, no
source)."""


def over_revs(run: Run, spec: EngineSpec) -> tuple[Event, ...]:
    """Find the over-revs of a run.

    The dose is in weighted revolutions; see `fatigue_and_blows`.

    The cause is `driven` where the engine could not have revved itself there: with the throttle
    shut, or faster than it can rev freely. It is `unknown` where neither throttle nor boost is
    logged and it rose faster than in gear, and where the rise itself is not logged.
    """
    rpm = run.signals["rpm"]
    limits = spec.over_rev
    spans = find_spans(
        run.time_s,
        rpm.values - np.float32(limits.redline_rpm),
        release=-RELEASE_RPM,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=MIN_DURATION_S,
        max_gap_s=max_gap_s(run, "rpm"),
        usable=rpm.usable(),
        long_steps=run.long_steps,
    )

    openings_s = run.time_s[spans.openings]
    causes = [
        _cause(run, limits, float(start_s), float(opening_s))
        for start_s, opening_s in zip(spans.start_s, openings_s, strict=True)
    ]
    return events_of(
        run,
        spec,
        spans,
        ["over_rev"] * len(spans),
        values=rpm.values,
        peaks=spans.peaks(rpm.values),
        doses=spans.integrate(
            partial(fatigue_and_blows, limits=limits),
            rpm.values,
            degree=math.ceil(2.0 * limits.fatigue_exponent) + 3,
        ),
        causes=[cause for cause, _ in causes],
        confidences=[confidence for _, confidence in causes],
    )


def _cause(
    run: Run, limits: OverRevSection, start_s: float, opening_s: float
) -> tuple[str, Confidence]:
    """Return cause and confidence of the over-rev that starts at `start_s`.

    Its first sample is at `opening_s`; a span that starts there, not at a crossing before it, was
    under way when the log, or a stretch of it, began.
    """
    if start_s == opening_s:
        return "unknown", confidence_of([Reason("rise_not_logged")])
    rise = _steepest_rise_rpm_per_s(run, start_s, opening_s) / limits.free_rev_rpm_per_s
    throttle, boost = _last(run, "throttle", start_s), _last(run, "boost", start_s)
    if throttle is not None and throttle <= CLOSED_THROTTLE_PERCENT:
        return "driven", CERTAIN
    if throttle is None and boost is not None and boost <= SHUT_BOOST_KPA:
        return "driven", CERTAIN
    if throttle is None and boost is None:
        if rise > 1.0:
            return "driven", CERTAIN
        if rise > GEARED_SHARE:
            return "unknown", confidence_of([Reason("lift_not_logged")])
        return "on_power", CERTAIN
    off_boost = boost is not None and boost <= NO_BOOST_KPA
    return ("driven" if off_boost and rise > 1.0 else "on_power"), CERTAIN


def _steepest_rise_rpm_per_s(run: Run, start_s: float, opening_s: float) -> float:
    """Return the steepest rise over RISE_WINDOW_S on the way into the event."""
    earliest_s, latest_s = start_s - RISE_BEFORE_S, max(start_s + RISE_WINDOW_S, opening_s)
    time_s, rpm = _usable(run, "rpm", earliest_s - RISE_WINDOW_S, latest_s)
    ends_s = time_s[time_s > earliest_s]
    rises = np.interp(ends_s, time_s, rpm) - np.interp(ends_s - RISE_WINDOW_S, time_s, rpm)
    return float(rises.max()) / RISE_WINDOW_S


def _last(run: Run, name: str, start_s: float) -> float | None:
    """Return what a channel last read on the way into the event; None: nothing."""
    if name not in run.signals:
        return None
    _, values = _usable(run, name, start_s - RISE_BEFORE_S, start_s)
    return float(values[-1]) if len(values) else None


def _usable(run: Run, name: str, from_s: float, to_s: float) -> tuple[FloatArray, ChannelArray]:
    """Return times and values of the usable samples from the one at or before `from_s` on."""
    first = max(int(np.searchsorted(run.time_s, from_s, side="right")) - 1, 0)
    stretch = slice(first, int(np.searchsorted(run.time_s, to_s, side="right")))
    signal = run.signals[name]
    usable = signal.flags[stretch] < BAD
    return run.time_s[stretch][usable], signal.values[stretch][usable]


DETECTOR = Detector(
    find=lambda run, spec, _surface, _conditions: over_revs(run, spec),
    released=lambda run, spec, _: below(run, "rpm", spec.over_rev.redline_rpm - SURE * RELEASE_RPM),
    channels=("rpm",),
)
