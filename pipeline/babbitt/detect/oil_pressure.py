"""Oil pressure below what it should be: starvation in corners, low pressure elsewhere."""

from __future__ import annotations

import numpy as np

from babbitt.detect.assemble import (
    MERGE_GAP_S,
    SURE,
    Detector,
    events_of,
    least_duration_s,
    max_gap_s,
)
from babbitt.detect.conditions import Conditions, TurnArray, held_oil_temperature
from babbitt.detect.doses import dry_turns, hot_oil_factor
from babbitt.detect.pressure import PressureSurface, floor_line_kpa
from babbitt.detect.spans import Spans, find_spans
from babbitt.model.engine_spec import EngineSpec, OilPressureSection
from babbitt.model.event import Confidence, Direction, Event, Reason, confidence_of
from babbitt.model.kinds import Kind
from babbitt.model.run import SUSPECT, BoolArray, ChannelArray, FloatArray, Run

RELEASE_KPA = 10.0
"""Above the limit; about the ripple of a gear pump (common practice, no source)."""

IDLE_SHARE = 0.75
"""Of idle speed: an engine that turns slower is being started or stopped (common practice, no
source)."""

OIL_LAG_S = 0.3
"""So long after the oil left the pickup the pressure falls (common practice, no source)."""

DOUBTED_SHARE = 0.5
"""An event of which as many samples are suspect may be the sensor's (our own choice)."""


def oil_deficits(
    run: Run, spec: EngineSpec, surface: PressureSurface | None, conditions: Conditions
) -> tuple[Event, ...]:
    """Find where oil pressure was too low for engine speed and oil temperature.

    Above floor_above_rpm the limit is starved_fraction of the expected pressure, below, from idle
    up, lost_fraction. Before a surface is learned the floor line is expected, and, where the car
    goes straight above floor_above_rpm, it is the limit itself. A deficit is one event:
    oil_starvation where it opened as the car was thrown about and is deeper than what the run
    lacks when it goes straight, else low_oil_pressure. It is judged once the engine has settled.
    The dose is in revolutions, each by the missing share of the expected pressure, for
    oil_starvation of what the run has of it when going straight, and by how thin the oil is; see
    doses.py.

    Args:
        run: with rpm and oil_pressure.
        spec: the limits.
        surface: expected pressure of the engine's build; None: not known yet.
        conditions: of the run.
    """
    rpm, pressure = run.signals["rpm"], run.signals["oil_pressure"]
    limits = spec.oil_pressure
    judged = conditions.settled & (rpm.values >= np.float32(IDLE_SHARE * spec.engine.idle_rpm))
    if not judged.any():
        return ()
    usable = rpm.usable() & pressure.usable()
    most = float(surface.kpa.max()) if surface else limits.relief_kpa / limits.starved_fraction
    near = np.flatnonzero(judged & _may_be_near(pressure.values, limits, most, usable))

    expected = np.full(run.samples, np.nan, dtype=np.float32)
    expected[near] = expected_kpa(rpm.values[near], conditions.oil_c[near], surface, limits)
    limit = _limit_kpa(rpm.values[near], expected[near], conditions.turning[near], surface, limits)
    deficit = np.full(run.samples, -np.inf, dtype=np.float32)
    deficit[near] = limit - pressure.values[near]
    spans = find_spans(
        run.time_s,
        deficit,
        release=-RELEASE_KPA,
        merge_gap_s=MERGE_GAP_S,
        min_duration_s=least_duration_s(pressure.native_hz, limits.min_duration_s),
        max_gap_s=max_gap_s(run, "oil_pressure", "rpm"),
        usable=usable,
        long_steps=run.long_steps,
    )
    thrown = conditions.turning[spans.openings] != 0
    shares = pressure.values / expected
    deeper = -shares[spans.peaks(-shares)] > -limits.starved_fraction * conditions.straight
    starved = thrown & (deeper | (conditions.straight == 1.0))
    kinds: list[Kind] = ["oil_starvation" if each else "low_oil_pressure" for each in starved]

    def turns(speed: FloatArray, kpa: FloatArray, of: FloatArray, at_c: FloatArray) -> FloatArray:
        return dry_turns(speed, kpa, of, limits.crankpin_mm) * hot_oil_factor(at_c, spec.oil)

    whole, in_corner = (
        spans.integrate(
            turns, rpm.values, pressure.values, expected * share, conditions.oil_c, degree=6
        )
        for share in (np.float32(1.0), np.float32(conditions.straight))
    )
    return events_of(
        run,
        spec,
        spans,
        kinds,
        values=pressure.values,
        peaks=spans.peaks(-pressure.values),
        doses=np.where(starved, in_corner, whole),
        directions=_directions(run, spans, conditions, starved),
        confidences=_confidences(run, spans, surface, conditions.oil_c, kinds),
    )


def expected_kpa(
    rpm: ChannelArray,
    oil_c: ChannelArray,
    surface: PressureSurface | None,
    limits: OilPressureSection,
) -> ChannelArray:
    """Return the oil pressure that is expected: of the surface, or else the floor line."""
    return floor_line_kpa(rpm, limits) if surface is None else surface.expected(rpm, oil_c)


def _limit_kpa(
    rpm: ChannelArray,
    expected: ChannelArray,
    turning: TurnArray,
    surface: PressureSurface | None,
    limits: OilPressureSection,
) -> ChannelArray:
    """Return the pressure below which too much is missing; shape (samples,) like all of these."""
    fast = rpm > limits.floor_above_rpm
    least = np.where(fast, np.float32(limits.starved_fraction), np.float32(limits.lost_fraction))
    if surface is None:
        least[fast & (turning == 0)] = 1.0
    limit: ChannelArray = expected * least
    return limit


def _directions(
    run: Run, spans: Spans, conditions: Conditions, starved: BoolArray
) -> list[Direction | None]:
    """Return what the oil ran away from: in esses, the corner before the pressure moved."""
    before = np.searchsorted(run.time_s, run.time_s[spans.openings] - OIL_LAG_S, side="right") - 1
    earlier = conditions.turning[np.maximum(before, 0)]
    turns = np.where(earlier != 0, earlier, conditions.turning[spans.openings])
    return [
        _DIRECTIONS[int(turn)] if each else None for turn, each in zip(turns, starved, strict=True)
    ]


_DIRECTIONS: dict[int, Direction] = {1: "left", -1: "right", 2: "braking", -2: "accelerating"}


def _may_be_near(
    pressure_kpa: ChannelArray, limits: OilPressureSection, most_kpa: float, usable: BoolArray
) -> BoolArray:
    """Tell where pressure may be near its limit, which need not be worked out elsewhere.

    Args:
        pressure_kpa: shape (samples,).
        limits: of the engine.
        most_kpa: no more is ever expected.
        usable: shape (samples,).

    Returns:
        Where pressure is not above any limit by RELEASE_KPA, and the usable samples on either
        side; shape (samples,).
    """
    near = pressure_kpa < np.float32(limits.starved_fraction * most_kpa + RELEASE_KPA)
    near |= ~usable
    near[1:] |= near[:-1]
    near[:-1] |= near[1:]
    return near


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
    slow = rpm.values < np.float32(IDLE_SHARE * spec.engine.idle_rpm)
    up = slow | ~oil.usable() | ~rpm.usable()
    at = np.flatnonzero(~up)
    turns = np.zeros(len(at), dtype=np.int8)
    expected = expected_kpa(rpm.values[at], held_oil_temperature(run)[at], surface, limits)
    least = _limit_kpa(rpm.values[at], expected, turns, surface, limits)
    up[at] = oil.values[at] > least + SURE * RELEASE_KPA
    return up


DETECTOR = Detector(find=oil_deficits, released=_released, channels=("rpm", "oil_pressure"))
