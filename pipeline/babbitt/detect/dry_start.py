"""Dry start: the engine runs, and oil pressure does not stand yet."""

from __future__ import annotations

from functools import partial

import numpy as np

from babbitt.detect.assemble import (
    MERGE_GAP_S,
    Detector,
    events_of,
    least_duration_s,
    max_gap_s,
)
from babbitt.detect.conditions import Conditions, conditions_of
from babbitt.detect.doses import dry_turns
from babbitt.detect.oil_pressure import expected_kpa
from babbitt.detect.pressure import PressureSurface
from babbitt.detect.spans import find_spans
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import CERTAIN, Event, Reason, confidence_of
from babbitt.model.run import BoolArray, Run


def dry_starts(
    run: Run, spec: EngineSpec, surface: PressureSurface | None, conditions: Conditions
) -> tuple[Event, ...]:
    """Find the starts after which oil pressure took longer than dry_start_s to stand.

    It stands at lost_fraction of the expected pressure. From PRIMING_S on a pressure that does not
    is low_oil_pressure. The dose is in revolutions; see `dry_turns`.

    Args:
        run: with rpm and oil_pressure.
        spec: the limits.
        surface: expected oil pressure of the engine's build; None: not known yet, the floor line is
            expected.
        conditions: of the run.
    """
    rpm, pressure = run.signals["rpm"], run.signals["oil_pressure"]
    limits = spec.oil_pressure
    priming = np.flatnonzero(conditions.priming)
    if not len(priming):
        return ()
    expected = np.full(run.samples, np.nan, dtype=np.float32)
    expected[priming] = expected_kpa(
        rpm.values[priming], conditions.oil_c[priming], surface, limits
    )
    deficit = np.full(run.samples, -np.inf, dtype=np.float32)
    deficit[priming] = (
        np.float32(limits.lost_fraction) * expected[priming] - pressure.values[priming]
    )
    spans = find_spans(
        run.time_s,
        deficit,
        release=0.0,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=least_duration_s(pressure.native_hz, limits.dry_start_s),
        max_gap_s=max_gap_s(run, "oil_pressure", "rpm"),
        usable=rpm.usable() & pressure.usable(),
        long_steps=run.long_steps,
    )
    known = CERTAIN if surface else confidence_of([Reason("pressure_not_learned")])
    return events_of(
        run,
        spec,
        spans,
        ["dry_start"] * len(spans),
        values=pressure.values,
        peaks=spans.peaks(-pressure.values),
        doses=spans.integrate(
            partial(dry_turns, crankpin_mm=limits.crankpin_mm),
            rpm.values,
            pressure.values,
            expected,
            degree=5,
        ),
        confidences=[known] * len(spans),
    )


def _released(run: Run, spec: EngineSpec, _surface: PressureSurface | None) -> BoolArray:
    released: BoolArray = ~conditions_of(run, spec).priming
    return released


DETECTOR = Detector(find=dry_starts, released=_released, channels=("rpm", "oil_pressure"))
