"""What the next runs of one engine may bring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from babbitt.damage.blame import worst_events
from babbitt.errors import LogbookError
from babbitt.jobs.fit import rpm_at_peaks
from babbitt.jobs.outlook import Known
from babbitt.logbook.folder import Logbook
from babbitt.model.kinds import Kind
from babbitt.outlook.ahead import MOST_RUNS, draw_ahead
from babbitt.outlook.circuits import circuits_of
from babbitt.outlook.outlook import Outlook
from babbitt.present.views.fleet import LifeUse, life_uses
from babbitt.present.views.foresight import Foreseen, require_known


@dataclass(frozen=True, eq=False)
class Prospect:
    """What the next runs of an engine may bring.

    Attributes:
        outlook: its outlook.
        life: share of each life dose that is used, and that they would add.
        fan: kind, place, low, middle, high: share of each life dose after each of them, from now
            on; the middle is what to expect, nine in ten futures lie between low and high.
        rpm_at: engine speed at the peak of the events that are told of, by event id.
        fault: why that could not be read, in a sentence; "" where it could.
        circuits: where the next runs might be, and how many it was logged in there.
    """

    outlook: Outlook
    life: Mapping[Kind, LifeUse]
    fan: pd.DataFrame
    rpm_at: Mapping[str, float]
    fault: str
    circuits: Mapping[str, int]


def prospect(
    book: Logbook, foreseen: Foreseen, engine_id: str, runs: int, circuit: str | None = None
) -> Prospect:
    """Return what the next runs of an engine may bring.

    Args:
        book: the logbook.
        foreseen: what its record foretells.
        engine_id: the engine.
        runs: how many lie ahead, 1 to MOST_RUNS.
        circuit: where they will be; None: nobody says.

    Raises:
        RegisterError: no such engine, it was not built yet, or no engine of its type was logged
            at the circuit.
    """
    everywhere = require_known(book, foreseen, engine_id)
    known = foreseen.headed_for(engine_id, circuit)
    outlook = foreseen.outlook(engine_id, runs, circuit)
    life = life_uses(known, foreseen.totals[engine_id], runs)
    rpm_at: Mapping[str, float] = {}
    fault = ""
    try:
        told = worst_events([outlook.decisive.blame]) if outlook.decisive else ()
        rpm_at = rpm_at_peaks(book, told)
    except LogbookError as error:
        fault = str(error)
    circuits = circuits_of(everywhere.state, everywhere.learned.fleet.ledgers)
    return Prospect(outlook, life, _fan(known, life, runs), rpm_at, fault, circuits)


def _fan(known: Known, life: Mapping[Kind, LifeUse], runs: int) -> pd.DataFrame:
    """Return the share of each life dose after each of the next runs."""
    ahead = draw_ahead(known.state.pool, known.learned.loads.rates, runs=MOST_RUNS)
    futures = [ahead.after(n) for n in range(1, runs + 1)]
    so_far = known.state.coverage.runs
    pieces = []
    for kind, use in life.items():
        limit = known.state.spec.life.of(kind)
        if use.used is None or limit is None or not (use.used or use.ahead):
            continue
        added = np.vstack([after[kind] for after in futures]) / limit
        low, high = np.quantile(added, (0.05, 0.95), axis=1)
        pieces.append(
            pd.DataFrame(
                {
                    "kind": kind,
                    "place": so_far + np.arange(runs + 1.0),
                    "low": use.used + np.append(0.0, low),
                    "middle": use.used + np.append(0.0, added.mean(axis=1)),
                    "high": use.used + np.append(0.0, high),
                }
            )
        )
    if not pieces:
        return pd.DataFrame(columns=["kind", "place", "low", "middle", "high"])
    return pd.concat(pieces, ignore_index=True)
