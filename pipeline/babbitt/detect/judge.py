"""Detection as a whole: a run and the limits in, its events out."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from babbitt.detect import cold_load, dry_start, oil_pressure, over_rev, overboost, overheat
from babbitt.detect.assemble import Detector
from babbitt.detect.conditions import conditions_of
from babbitt.detect.pressure import PressureSurface
from babbitt.detect.watch import watchable
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import Run

DETECTORS: dict[Kind, Detector] = {
    "over_rev": over_rev.DETECTOR,
    # One search finds both, and tells them apart.
    "oil_starvation": oil_pressure.DETECTOR,
    "low_oil_pressure": oil_pressure.DETECTOR,
    "dry_start": dry_start.DETECTOR,
    "coolant_overheat": overheat.COOLANT,
    "oil_overheat": overheat.OIL,
    "overboost": overboost.DETECTOR,
    "cold_load": cold_load.DETECTOR,
}
"""What finds the events of each kind."""

DETECTOR_VERSION = 3
"""Raised whenever the same run, limits and surface give other events than before."""


def detect(
    run: Run,
    spec: EngineSpec,
    surface: PressureSurface | None,
    kinds: Collection[Kind] = KINDS,
    *,
    straight: float = 1.0,
) -> tuple[Event, ...]:
    """Find the harmful events of a run.

    A kind that the run cannot show (see `watch`) has no events.

    Args:
        run: as ingested.
        spec: the limits that judge it.
        surface: expected oil pressure of the engine's build; None: not known yet.
        kinds: only these are looked for; both kinds of low oil pressure, or neither.
        straight: see `straight_share`.

    Returns:
        The events in order of start.
    """
    kinds = watchable(run).intersection(kinds)
    if not kinds:
        return ()
    conditions = replace(conditions_of(run, spec), straight=straight)
    events: list[Event] = []
    for detector in detectors_of(kinds):
        events += detector.find(run, spec, surface, conditions)
    return in_order(events)


def detectors_of(kinds: Collection[Kind]) -> tuple[Detector, ...]:
    """Detectors of some kinds, one that finds several of them once, in the order of KINDS."""
    return tuple(dict.fromkeys(DETECTORS[kind] for kind in KINDS if kind in kinds))


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """Return events in order of start; those that start at once in the order of the kinds."""
    place = {kind: n for n, kind in enumerate(KINDS)}
    return tuple(sorted(events, key=lambda event: (event.start_s, place[event.kind])))
