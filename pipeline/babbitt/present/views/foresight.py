"""What the record foretells, worked out once for each state of it and asked for as often as needed.

The damage model takes seconds for a large fleet; a page has less than one.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from babbitt.errors import BabbittError, RegisterError
from babbitt.jobs.gather import Gathered, gather
from babbitt.jobs.outlook import Known, known_of
from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import Settings
from babbitt.model.records import Window
from babbitt.outlook.outlook import Outlook, look_ahead
from babbitt.present.words import reader_of
from babbitt.register.queries.revision import Revision, revision
from babbitt.register.queries.sums import window_sums
from babbitt.register.records.engines import require_engine
from babbitt.totals.totals import Totals, make_totals


@dataclass(frozen=True, eq=False)
class Foreseen:
    """One state of the record, and what follows from it.

    Attributes:
        at: UTC, the moment it was worked out for; what came later is not known.
        settings: of the logbook.
        gathered: what the record holds of runs, events and teardowns.
        known: what outlooks rest on, by engine, in the order of their IDs.
        faults: why nothing can be said of the other engines, by engine.
        totals: of each engine of `known` since its last refresh.
    """

    at: datetime
    settings: Settings
    gathered: Gathered
    known: Mapping[str, Known]
    faults: Mapping[str, BabbittError]
    totals: Mapping[str, Totals]
    _outlooks: dict[tuple[str, int, str | None], Outlook] = field(default_factory=dict)

    def headed_for(self, engine_id: str, circuit: str | None) -> Known:
        """Return what the outlook of an engine rests on where its next runs will be at a circuit.

        Args:
            engine_id: one of `known`.
            circuit: where; None: nobody says.

        Raises:
            RegisterError: no engine of its type was logged there; names the circuits that are
                known.
        """
        known = self.known[engine_id]
        return known if circuit is None else known.headed_for(circuit)

    def outlook(self, engine_id: str, runs: int, circuit: str | None = None) -> Outlook:
        """Return the outlook of an engine; raises as `headed_for` does.

        Args:
            engine_id: one of `known`.
            runs: how many runs lie ahead, 1 to MOST_RUNS.
            circuit: where they will be; None: nobody says.
        """
        known = self.headed_for(engine_id, circuit)
        key = engine_id, runs, known.state.pool.circuit
        if key not in self._outlooks:
            self._outlooks[key] = look_ahead(
                known.state,
                known.learned.posteriors,
                runs=runs,
                service=self.settings.service,
            )
        return self._outlooks[key]


class Foresight:
    """Keeps the newest state of a logbook's record; a change to it, or the next day, asks anew."""

    def __init__(self, book: Logbook) -> None:
        """Begin with nothing worked out."""
        self._book = book
        self._lock = threading.Lock()
        self._kept: tuple[tuple[Revision, date], Foreseen] | None = None

    def at(self, now: datetime) -> Foreseen:
        """Return what the record foretells today; others who ask meanwhile wait for it.

        Args:
            now: UTC, the present moment.

        Raises:
            LogbookError: the register cannot be read.
        """
        today = now.astimezone(reader_of(self._book.settings).timezone).date()
        with self._lock, self._book.register.reading() as session:
            key = revision(session, now), today
            if self._kept is None or self._kept[0] != key:
                gathered = gather(session)
                known, faults = known_of(session, gathered, None, now)
                windows = [
                    Window(name, each.build.since, now, each.state.spec.version())
                    for name, each in known.items()
                ]
                totals = {
                    window.engine_id: make_totals(
                        sums, known[window.engine_id].state.spec, window.engine_id, window.since
                    )
                    for window, sums in zip(windows, window_sums(session, windows), strict=True)
                }
                self._kept = (
                    key,
                    Foreseen(now, self._book.settings, gathered, known, faults, totals),
                )
            return self._kept[1]


def require_known(book: Logbook, foreseen: Foreseen, engine_id: str) -> Known:
    """Return what the outlook of an engine rests on.

    Raises:
        RegisterError: no such engine, or it was not built yet.
        BabbittError: nothing can be said of it; see `Foreseen.faults`.
    """
    if engine_id in foreseen.faults:
        raise foreseen.faults[engine_id]
    if engine_id not in foreseen.known:
        with book.register.reading() as session:
            require_engine(session, engine_id)
        raise RegisterError(f"The engine {engine_id} was not built yet: correct when it was.")
    return foreseen.known[engine_id]
