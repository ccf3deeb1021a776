"""Oil pressure below what it should be: starvation in corners, low pressure elsewhere."""

from __future__ import annotations

import numpy as np

from babbitt.detect.assemble import (
    MERGE_GAP_S,
    SURE,
    Detector,
    Side,
    events_of,
    max_gap_s,
)
from babbitt.detect.conditions import Conditions, held_oil_temperature
from babbitt.detect.pressure import PressureSurface, floor_line_kpa
from babbitt.detect.spans import Spans, find_spans
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Confidence, Event, Reason, confidence_of
from babbitt.model.kinds import Kind
from babbitt.model.run import SUSPECT, BoolArray, ChannelArray, FloatArray, Run

RELEASE_KPA = 10.0
"""Above the limit; about the ripple of a gear pump (common practice, no source)."""

DOUBTED_SHARE = 0.5
"""An event of which as many samples are suspect may be the sensor's (our own choice)."""


def oil_deficits(
    run: Run, spec: EngineSpec, surface: PressureSurface | None, conditions: Conditions
) -> tuple[Event, ...]:
    """Find where oil pressure was too low for engine speed and oil temperature.

    Cornering, or within the lookback, the limit is starved_fraction of the expected pressure;
    elsewhere it is the floor line too, whichever is higher. A deficit is one event: oil_starvation
    where it opened cornering, else low_oil_pressure. It is judged only above floor_above_rpm and
    once the engine has settled. The dose is in revolutions, each times the missing share of the
    expected pressure (for low_oil_pressure, of the floor line where that is higher).

    Args:
        run: with rpm and oil_pressure.
        spec: the limits.
        surface: expected pressure of the engine's build; None: not known yet, the floor line is
            expected.
        conditions: of the run.
    """
    rpm, pressure = run.signals["rpm"], run.signals["oil_pressure"]
    limits = spec.oil_pressure
    judged = conditions.settled & (rpm.values > limits.floor_above_rpm)
    if not judged.any():
        return ()
    usable = rpm.usable() & pressure.usable()
    floor = floor_line_kpa(rpm.values, limits)
    most = 0.0 if surface is None else limits.starved_fraction * float(surface.kpa.max())
    near = np.flatnonzero(judged & _may_be_near(pressure.values, floor, most, usable))

    expected = np.full(len(floor), np.nan, dtype=np.float32)
    expected[near] = (
        floor[near]
        if surface is None
        else surface.expected(rpm.values[near], conditions.oil_c[near])
    )
    limit = expected[near] * np.float32(limits.starved_fraction)
    np.maximum(limit, floor[near], out=limit, where=conditions.turning[near] == 0)
    deficit = np.full(len(floor), -np.inf, dtype=np.float32)
    deficit[near] = limit - pressure.values[near]
    spans = find_spans(
        run.time_s,
        deficit,
        release=-RELEASE_KPA,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=limits.min_duration_s,
        max_gap_s=max_gap_s(run, "oil_pressure", "rpm"),
        usable=usable,
        long_steps=run.long_steps,
    )
    turns = conditions.turning[spans.openings]
    kinds: list[Kind] = ["oil_starvation" if turn else "low_oil_pressure" for turn in turns]
    in_corner = spans.integrate(_missing_rev_per_s, rpm.values, pressure.values, expected, degree=3)
    reference = np.maximum(expected, floor)
    elsewhere = spans.integrate(
        _missing_rev_per_s, rpm.values, pressure.values, reference, degree=3
    )
    return events_of(
        run,
        spec,
        spans,
        kinds,
        values=pressure.values,
        peaks=spans.peaks(-pressure.values),
        doses=np.where(turns != 0, in_corner, elsewhere),
        sides=[_SIDES[int(turn)] for turn in turns],
        confidences=_confidences(run, spans, surface, conditions.oil_c, kinds),
    )


_SIDES: dict[int, Side | None] = {1: "left", -1: "right", 0: None}


def _may_be_near(
    pressure_kpa: ChannelArray, floor_kpa: ChannelArray, most_kpa: float, usable: BoolArray
) -> BoolArray:
    """Tell where pressure may be near its limit, which need not be worked out elsewhere.

    Args:
        pressure_kpa: shape (samples,).
        floor_kpa: the floor line; shape (samples,).
        most_kpa: no limit but the floor line lies higher.
        usable: shape (samples,).

    Returns:
        Where pressure is not above both by RELEASE_KPA, and the usable samples on either side;
        shape (samples,).
    """
    near = pressure_kpa < np.maximum(floor_kpa, np.float32(most_kpa)) + np.float32(RELEASE_KPA)
    near |= ~usable
    near[1:] |= near[:-1]
    near[:-1] |= near[1:]
    return near


def _missing_rev_per_s(
    speed_rpm: FloatArray, pressure_kpa: FloatArray, reference_kpa: FloatArray
) -> FloatArray:
    missing = np.clip(1.0 - pressure_kpa / reference_kpa, 0.0, 1.0)
    lost: FloatArray = speed_rpm / 60.0 * missing
    return lost


def _confidences(
    run: Run,
    spans: Spans,
    surface: PressureSurface | None,
    oil_c: ChannelArray,
    kinds: list[Kind],
) -> list[Confidence]:
    lateral = run.signals.get("lateral_g")
    no_lateral = np.zeros(len(spans), dtype=np.bool_)
    cornering_known = no_lateral if lateral is None else lateral.usable()[spans.openings]
    oil_known = ~np.isnan(oil_c[spans.openings])
    flags = run.signals["oil_pressure"].flags
    confidences = []
    for i, kind in enumerate(kinds):
        reasons = []
        if surface is None:
            reasons.append(Reason("pressure_not_learned"))
        elif not oil_known[i]:
            reasons.append(Reason("no_oil_temperature"))
        if kind == "low_oil_pressure" and not cornering_known[i]:
            reasons.append(Reason("no_lateral_g"))
        within = slice(*np.searchsorted(run.time_s, (spans.start_s[i], spans.end_s[i])))
        doubted = np.count_nonzero(flags[within] == SUSPECT)
        if doubted and doubted >= DOUBTED_SHARE * len(flags[within]):
            reasons.append(Reason("perhaps_unplugged"))
        confidences.append(confidence_of(reasons))
    return confidences


def _released(run: Run, spec: EngineSpec, surface: PressureSurface | None) -> BoolArray:
    oil, rpm, limits = run.signals["oil_pressure"], run.signals["rpm"], spec.oil_pressure
    up = (rpm.values <= limits.floor_above_rpm) | ~oil.usable() | ~rpm.usable()
    at = np.flatnonzero(~up)
    least = floor_line_kpa(rpm.values[at], limits)
    if surface is not None:
        expected = surface.expected(rpm.values[at], held_oil_temperature(run)[at])
        np.maximum(least, expected * np.float32(limits.starved_fraction), out=least)
    up[at] = oil.values[at] > least + SURE * RELEASE_KPA
    return up


DETECTOR = Detector(find=oil_deficits, released=_released, channels=("rpm", "oil_pressure"))
