"""What the fleet of an engine makes of its life doses, learned once for engines that share them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from babbitt.damage.fleet import Fleet, learn_modes
from babbitt.damage.ledger import Loads
from babbitt.damage.looks import observations, pieces_in
from babbitt.damage.model import Observation
from babbitt.damage.posterior import Posterior
from babbitt.jobs.gather import Gathered
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import DamageMode
from babbitt.model.engine_spec import LifeSection
from babbitt.model.records import DatedEvent


@dataclass(frozen=True, eq=False)
class Learned:
    """A fleet, and what it makes of one set of life doses.

    Attributes:
        fleet: the engines of the type.
        posteriors: by damage mode; modes without life doses are left out.
        found: what they were learned from, by damage mode.
        loads: by the usual rates of the fleet.
        usual_h: running hours that parts of each kind usually run; None: not known.
    """

    fleet: Fleet
    posteriors: Mapping[DamageMode, Posterior]
    found: Mapping[DamageMode, list[Observation]]
    loads: Loads
    usual_h: Mapping[str, float | None]


class Learning:
    """Learns for one engine after another of a logbook, each pair of type and life doses once."""

    def __init__(self, gathered: Gathered, *, at: datetime | None = None) -> None:
        """Take the logbook; with `at`, only what was known by then is learned from."""
        self._gathered, self._at = gathered, at
        self._known: dict[tuple[str, LifeSection], Learned] = {}

    def of(self, engine_id: str) -> Learned:
        """Return what the fleet of an engine makes of its life doses.

        Raises:
            DamageModelError: the draws of a damage mode do not settle.
        """
        spec = self._gathered.specs[engine_id]
        key = spec.engine.type, spec.life
        if key not in self._known:
            fleet = self._gathered.fleet_of(engine_id, at=self._at)
            loads = fleet.loads(spec.life, before=self._at)
            found = observations(fleet.seen, loads)
            usual_h = fleet.usual_h(self._at)
            pieces = pieces_in(fleet.seen, loads)
            posteriors = learn_modes(spec.life, found, pieces, usual_h=usual_h)
            self._known[key] = Learned(fleet, posteriors, found, loads, usual_h)
        return self._known[key]


def rpm_at_peaks(book: Logbook, events: Iterable[DatedEvent]) -> dict[str, float]:
    """Return the engine speed at the worst moment of events, 1/min, by event id.

    Args:
        book: the logbook.
        events: those that are over-revs, or of runs without engine speed, are passed over.

    Raises:
        LogbookError: the file of a run is missing or damaged.
    """
    found = {}
    for event in {each.event for each in events if each.event.kind != "over_rev"}:
        run = book.read_run(event.engine_id, event.run_id, ("rpm",))
        rpm = run.signals.get("rpm")
        if rpm is not None and rpm.usable().any():
            usable = rpm.usable()
            at_peak = np.interp(event.peak_s, run.time_s[usable], rpm.values[usable])
            found[event.event_id] = float(at_peak)
    return found
