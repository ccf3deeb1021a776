"""Cold load: engine speed or boost beyond what cold oil allows."""

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
from babbitt.detect.conditions import Conditions, held_oil_temperature
from babbitt.detect.doses import cold_turns
from babbitt.detect.spans import find_spans
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.run import BoolArray, ChannelArray, FloatArray, Run

WARMTH_K = 50.0
"""Oil so far below warm counts as beyond its limit by as much as twice the allowed load."""

RELEASE_SHARE = 0.02
"""Below the limits: 100 1/min at 5,000, 1 K of oil (common practice, no source)."""


def cold_loads(run: Run, spec: EngineSpec, conditions: Conditions) -> tuple[Event, ...]:
    """Find where a running engine was loaded before its oil was warm.

    The dose is in revolutions, the more the colder; see `cold_turns`. Oil must be cold and either
    engine speed or boost beyond its limit at once, so the kernel is given the lesser of how cold
    and how loaded, each as a share of its own scale: the one that crosses zero decides.
    """
    rpm = run.signals["rpm"]
    excess = np.float32(spec.oil_temperature.warm_c) - conditions.oil_c
    excess /= np.float32(WARMTH_K)
    judged = (excess > -RELEASE_SHARE) & conditions.running
    if not judged.any():
        return ()
    np.minimum(excess, _load(run, spec), out=excess)
    np.copyto(excess, -np.inf, where=~judged)
    spans = find_spans(
        run.time_s,
        excess,
        release=-RELEASE_SHARE,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=least_duration_s(rpm.native_hz, spec.cold_load.min_duration_s),
        max_gap_s=max_gap_s(run, "rpm"),
        usable=rpm.usable(),
        long_steps=run.long_steps,
    )

    def turns(speed_rpm: FloatArray, oil_c: FloatArray) -> FloatArray:
        return cold_turns(speed_rpm, oil_c, spec.oil_temperature.warm_c, spec.oil)

    return events_of(
        run,
        spec,
        spans,
        ["cold_load"] * len(spans),
        values=rpm.values,
        peaks=spans.peaks(rpm.values),
        doses=spans.integrate(turns, rpm.values, conditions.oil_c, degree=5),
    )


def _load(run: Run, spec: EngineSpec) -> ChannelArray:
    """How far speed or boost is beyond its cold limit, as a share of that; the greater of both."""
    limits = spec.cold_load
    load = _share_over(run.signals["rpm"].values, limits.rpm)
    boost = run.signals.get("boost")
    if boost is not None:
        boosted = _share_over(boost.values, limits.boost_kpa)
        np.copyto(boosted, -np.inf, where=~boost.usable())
        np.maximum(load, boosted, out=load)
    return load


def _share_over(values: ChannelArray, limit: float) -> ChannelArray:
    share = values * np.float32(1.0 / limit)
    share -= np.float32(1.0)
    return share


def _released(run: Run, spec: EngineSpec) -> BoolArray:
    limits, share = spec.cold_load, 1.0 - SURE * RELEASE_SHARE
    easy = below(run, "rpm", limits.rpm * share)
    if "boost" in run.signals:
        easy &= below(run, "boost", limits.boost_kpa * share)
    warm_c = spec.oil_temperature.warm_c + SURE * RELEASE_SHARE * WARMTH_K
    oil_c = held_oil_temperature(run)
    easy |= (oil_c > warm_c) | np.isnan(oil_c) | ~run.signals["rpm"].usable()
    return easy


DETECTOR = Detector(
    find=lambda run, spec, _, conditions: cold_loads(run, spec, conditions),
    released=lambda run, spec, _: _released(run, spec),
    channels=("rpm",),
)
