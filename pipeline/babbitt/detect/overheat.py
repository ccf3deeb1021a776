"""Overheats: coolant or oil above its limit, heat soak after shutdown included."""

from __future__ import annotations

from functools import partial

import numpy as np

from babbitt.detect.assemble import (
    SURE,
    TEMPERATURE_MERGE_GAP_S,
    Detector,
    below,
    events_of,
    least_duration_s,
    max_gap_s,
)
from babbitt.detect.conditions import Conditions
from babbitt.detect.doses import COOLANT_DOUBLES_K, OIL_DOUBLES_K, degree_seconds
from babbitt.detect.spans import find_spans
from babbitt.model.engine_spec import CoolantTemperatureSection, EngineSpec, OilTemperatureSection
from babbitt.model.event import Event
from babbitt.model.kinds import Kind
from babbitt.model.run import Run

RELEASE_K = 1.0
"""Below the limit; the resolution of ordinary thermistor channels (common practice, no source)."""


def coolant_overheats(run: Run, spec: EngineSpec, conditions: Conditions) -> tuple[Event, ...]:
    """Find where the coolant was above its limit; the dose is in °C·s; see `degree_seconds`."""
    limits = spec.coolant_temperature
    return _overheats(
        run, spec, conditions, "coolant_overheat", "coolant_temperature", limits, COOLANT_DOUBLES_K
    )


def oil_overheats(run: Run, spec: EngineSpec, conditions: Conditions) -> tuple[Event, ...]:
    """Find where the oil was above its limit; the dose is in °C·s; see `degree_seconds`."""
    limits = spec.oil_temperature
    return _overheats(
        run, spec, conditions, "oil_overheat", "oil_temperature", limits, OIL_DOUBLES_K
    )


def _overheats(
    run: Run,
    spec: EngineSpec,
    conditions: Conditions,
    kind: Kind,
    channel: str,
    limits: CoolantTemperatureSection | OilTemperatureSection,
    doubles_k: float,
) -> tuple[Event, ...]:
    temperature = run.signals[channel]
    excess = temperature.values - np.float32(limits.limit_c)
    spans = find_spans(
        run.time_s,
        excess,
        release=-RELEASE_K,
        merge_gap_s=TEMPERATURE_MERGE_GAP_S,
        min_duration_s=least_duration_s(temperature.native_hz, limits.min_duration_s),
        max_gap_s=max_gap_s(run, channel),
        usable=temperature.usable(),
        long_steps=run.long_steps,
    )
    causes = [None if runs else "heat_soak" for runs in conditions.running[spans.openings]]
    return events_of(
        run,
        spec,
        spans,
        [kind] * len(spans),
        values=temperature.values,
        peaks=spans.peaks(temperature.values),
        doses=spans.integrate(partial(degree_seconds, doubles_k=doubles_k), excess, degree=9),
        causes=causes,
    )


COOLANT = Detector(
    find=lambda run, spec, _, conditions: coolant_overheats(run, spec, conditions),
    released=lambda run, spec, _: below(
        run, "coolant_temperature", spec.coolant_temperature.limit_c - SURE * RELEASE_K
    ),
    channels=("coolant_temperature",),
)
OIL = Detector(
    find=lambda run, spec, _, conditions: oil_overheats(run, spec, conditions),
    released=lambda run, spec, _: below(
        run, "oil_temperature", spec.oil_temperature.limit_c - SURE * RELEASE_K
    ),
    channels=("oil_temperature",),
)
