"""What the next runs may put on an engine: runs drawn from those it has made (bootstrap).

Where they are to be at one circuit, they are drawn from runs there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from babbitt.damage.ledger import BRIEF, Ledger, column_of
from babbitt.model.damage_modes import RUNNING, causes
from babbitt.model.run import BoolArray, FloatArray

LEAST_RUNS = 5
"""Fewer runs say too little about the next: those of a wider circle are added (common practice, no
source)."""

LEAST_THERE = 3
"""The same of runs at one circuit, of which there are fewer (common practice, no source)."""

FUTURES = 512
"""Possible futures that are drawn."""

MOST_RUNS = 40
"""So many runs ahead it is asked when a limit will be reached; further off, nobody knows."""

Source = Literal["build", "engine", "fleet"]

_SEED = 13374


@dataclass(frozen=True, eq=False)
class Pool:
    """Logged runs that the next ones are expected to be like.

    Attributes:
        source: runs of the present build; of the engine, where those are few; of the fleet.
        circuit: where they were; None: wherever that was.
        made_by: engine -> how many of them it made.
        doses: of each cause, in the order of `causes()`; shape (runs, causes).
        unwatched_h: running hours in which each could not have been seen; shape (runs, causes).
        revolutions: NaN where unknown; shape (runs,).
    """

    source: Source
    circuit: str | None
    made_by: Mapping[str, int]
    doses: FloatArray
    unwatched_h: FloatArray
    revolutions: FloatArray

    @property
    def runs(self) -> int:
        """How many there are."""
        return len(self.doses)


@dataclass(frozen=True, eq=False)
class Ahead:
    """Possible futures, summed run by run.

    Attributes:
        doses: of each cause after each run, in the order of `causes()`; shape
            (causes, runs, FUTURES).
        revolutions: after each run, NaN where unknown; shape (runs, FUTURES).
    """

    doses: FloatArray
    revolutions: FloatArray

    def after(self, runs: int) -> dict[str, FloatArray]:
        """Return cause -> dose after the next `runs` runs, shape (FUTURES,); see `chance`."""
        return dict(zip(causes(), self.doses[:, runs - 1], strict=True))


def least_runs(circuit: str | None) -> int:
    """Return how many runs say enough about the next, at a circuit or wherever they will be."""
    return LEAST_RUNS if circuit is None else LEAST_THERE


def pool_of(
    ledger: Ledger,
    since: datetime | None,
    until: datetime | None,
    fleet: Iterable[Ledger],
    circuit: str | None = None,
) -> Pool:
    """Return the runs that an engine's next ones are expected to be like.

    Args:
        ledger: of the engine.
        since: when its present build began.
        until: only runs that started before this count; None: all.
        fleet: ledgers of all engines of its type, its own among them.
        circuit: where the next runs will be; None: nobody says.
    """

    def circle(each: Ledger, begun: datetime | None) -> tuple[Ledger, BoolArray]:
        there = each.within(begun, until) & each.logged
        return each, there if circuit is None else there & each.at(circuit)

    least = least_runs(circuit)
    of_build, of_engine = [circle(ledger, since)], [circle(ledger, None)]
    source: Source
    if _count(of_build) >= least:
        source, chosen = "build", of_build
    elif _count(of_engine) >= least:
        source, chosen = "engine", of_engine
    else:
        source, chosen = "fleet", [circle(each, None) for each in fleet]
    made_by = {each.engine_id: int(rows.sum()) for each, rows in chosen}
    return Pool(
        source=source,
        circuit=circuit,
        made_by={name: runs for name, runs in made_by.items() if runs},
        doses=np.vstack([each.doses[rows] for each, rows in chosen]),
        unwatched_h=np.vstack([each.unwatched_h[rows] for each, rows in chosen]),
        revolutions=np.concatenate([each.revolutions[rows] for each, rows in chosen]),
    )


def draw_ahead(pool: Pool, rates: FloatArray, *, runs: int) -> Ahead:
    """Draw possible futures of an engine; the same pool gives the same ones.

    A dose that could not be seen is drawn too, exponential around the rate of the fleet; or added
    at its mean, where only a BRIEF share of the running was not watched.

    Args:
        pool: runs to draw from; an empty one gives futures without any dose.
        rates: of the fleet, see `usual_rates`.
        runs: how many lie ahead.
    """
    doses = np.zeros((len(rates), runs, FUTURES))
    if not pool.runs:
        return Ahead(doses, np.zeros((runs, FUTURES)))
    rng = np.random.default_rng(_SEED)
    drawn = rng.integers(pool.runs, size=(runs, FUTURES))
    unseen = pool.unwatched_h * rates
    brief = pool.unwatched_h.sum(axis=0) <= BRIEF * pool.doses[:, column_of(RUNNING)].sum()
    for column, added in enumerate(doses):  # cause by cause: what stays in the cache is quicker
        mean = unseen[:, column] if brief[column] else 0.0
        added[:] = (pool.doses[:, column] + mean)[drawn]
        if not brief[column]:
            added += unseen[:, column][drawn] * rng.standard_exponential(drawn.shape)
    revolutions = pool.revolutions[drawn]
    for run in range(1, runs):  # numpy sums along any axis but the last one by one
        doses[:, run] += doses[:, run - 1]
        revolutions[run] += revolutions[run - 1]
    return Ahead(doses, revolutions)


def _count(circle: Iterable[tuple[Ledger, BoolArray]]) -> int:
    return sum(int(rows.sum()) for _, rows in circle)
