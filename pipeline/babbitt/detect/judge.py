"""Detection as a whole: a run and the limits in, its events out."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from babbitt.detect.cold_load import cold_loads
from babbitt.detect.conditions import conditions_of
from babbitt.detect.oil_pressure import oil_deficits
from babbitt.detect.over_rev import over_revs
from babbitt.detect.overboost import overboosts
from babbitt.detect.overheat import coolant_overheats, oil_overheats
from babbitt.detect.pressure import PressureSurface
from babbitt.detect.watch import watchable
from babbitt.model.engine_spec import KINDS, EngineSpec, Kind
from babbitt.model.event import Event
from babbitt.model.run import Run

DETECTOR_VERSION = 2
"""Raised whenever the same run, limits and surface give other events than before."""


def detect(
    run: Run,
    spec: EngineSpec,
    surface: PressureSurface | None,
    kinds: Collection[Kind] = KINDS,
) -> tuple[Event, ...]:
    """Find the harmful events of a run.

    A kind that the run cannot show (see `watch`) has no events.

    Args:
        run: as ingested.
        spec: the limits that judge it.
        surface: expected oil pressure of the engine's build; None: not known yet.
        kinds: only these are looked for; both kinds of low oil pressure, or neither.

    Returns:
        The events in order of start.
    """
    kinds = watchable(run, spec).intersection(kinds)
    if not kinds:
        return ()
    conditions = conditions_of(run, spec)
    events: list[Event] = []
    if "over_rev" in kinds:
        events += over_revs(run, spec)
    if "low_oil_pressure" in kinds:
        events += oil_deficits(run, spec, surface, conditions)
    if "coolant_overheat" in kinds:
        events += coolant_overheats(run, spec, conditions)
    if "oil_overheat" in kinds:
        events += oil_overheats(run, spec, conditions)
    if "overboost" in kinds:
        events += overboosts(run, spec)
    if "cold_load" in kinds:
        events += cold_loads(run, spec, conditions)
    return in_order(events)


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """Return events in order of start; those that start at once in the order of the kinds."""
    return tuple(sorted(events, key=lambda event: (event.start_s, KINDS.index(event.kind))))
