"""What each run put on an engine, and what a part has taken of it.

Doses are summed run by run, so that a part may have been carried from engine to engine, and the
next runs may be drawn from those there were. Where a kind of harm was not watched, its dose is not
known: a part's share of it is expected at the rate at which the fleet takes it when watched.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from babbitt.damage.doses import events_by_cause
from babbitt.damage.model import Load
from babbitt.model.circuit import same_circuit
from babbitt.model.damage_modes import RUNNING, causes
from babbitt.model.engine_spec import LifeSection
from babbitt.model.event import Event
from babbitt.model.part_records import HistoryRecord, Stretch
from babbitt.model.run import BoolArray, FloatArray
from babbitt.register.queries.run_exposures import RunExposure

USUAL_DOSE = 0.1
"""Share of a life dose that a build is believed to take of each kind before anything was watched
(common practice, no source)."""

USUAL_HOURS = 1.0
"""Watched hours that this belief counts for (common practice, no source)."""

BRIEF = 0.02
"""A share of running, such as that before oil pressure is judged after a start, in which luck
matters less than the mean."""

_HOUR_S = 3600.0
_EARLIER = timedelta(microseconds=1)


@dataclass(frozen=True, eq=False)
class Ledger:
    """What the runs of one engine put on it, in the order of their start.

    Running from before the logs stands among them, as a run that nobody logged, where it ended.

    Attributes:
        engine_id: the engine.
        run_ids: "" for running from before the logs; shape (runs,).
        started_s: POSIX seconds; shape (runs,).
        logged: whether a logger saw it; shape (runs,).
        doses: of each cause, in the order of `causes()`, in its unit; shape (runs, causes).
        unwatched_h: running hours in which each cause could not have been seen; shape
            (runs, causes).
        revolutions: NaN where unknown; shape (runs,).
        circuits: where each was; None: nobody said; shape (runs,).
    """

    engine_id: str
    run_ids: tuple[str, ...]
    started_s: FloatArray
    logged: BoolArray
    doses: FloatArray
    unwatched_h: FloatArray
    revolutions: FloatArray
    circuits: tuple[str | None, ...]

    @property
    def running_h(self) -> FloatArray:
        """Running hours; shape (runs,)."""
        return self.doses[:, _COLUMN[RUNNING]]

    def within(self, since: datetime | None, until: datetime | None) -> BoolArray:
        """Tell which runs started at or after `since` and before `until`; shape (runs,)."""
        inside = np.ones(len(self.started_s), dtype=np.bool_)
        if since is not None:
            inside &= self.started_s >= since.timestamp()
        if until is not None:
            inside &= self.started_s < until.timestamp()
        return inside

    def at(self, circuit: str) -> BoolArray:
        """Tell which runs were at a circuit; shape (runs,)."""
        return np.array([same_circuit(each, circuit) for each in self.circuits], dtype=np.bool_)


@dataclass(frozen=True, eq=False)
class Taken:
    """What a part, or a set of like parts, has taken.

    Attributes:
        doses: of each cause, in the order of `causes()`; shape (causes,).
        unwatched_h: running hours in which each could not have been seen; shape (causes,).
        revolutions: of the crankshaft; NaN where some are unknown.
    """

    doses: FloatArray
    unwatched_h: FloatArray
    revolutions: float

    @property
    def running_h(self) -> float:
        """Running hours."""
        return float(self.doses[_COLUMN[RUNNING]])


def make_ledger(
    engine_id: str,
    runs: Sequence[RunExposure],
    events: Iterable[Event],
    histories: Iterable[HistoryRecord] = (),
) -> Ledger:
    """Return the ledger of an engine.

    Args:
        engine_id: the engine.
        runs: its runs.
        events: found in them; those reviewed as sensor fault or harmless do not count.
        histories: its running from before the logs.
    """
    before = [
        RunExposure(
            run_id="",
            engine_id=engine_id,
            started_at=h.until - _EARLIER,
            running_s=h.running_s,
            revolutions=h.revolutions,
            watched_s={},
            unlogged=True,
            judged=True,
            circuit=None,
        )
        for h in histories
    ]
    rows = sorted([*before, *runs], key=lambda run: (run.started_at, run.run_id))
    place = {run.run_id: row for row, run in enumerate(rows)}
    running_h = np.array([run.running_s for run in rows]) / _HOUR_S
    doses = np.zeros((len(rows), len(_COLUMN)))
    unwatched_h = np.zeros_like(doses)
    doses[:, _COLUMN[RUNNING]] = running_h
    for cause in _CLOCKS:
        of_runs = [getattr(run, str(causes()[cause].exposure)) for run in rows]
        known_h = np.array(of_runs, dtype=np.float64) / _HOUR_S
        doses[:, _COLUMN[cause]] = np.nan_to_num(known_h)
        unwatched_h[:, _COLUMN[cause]] = np.where(np.isnan(known_h), running_h, 0.0)
    for cause, found in events_by_cause(events).items():
        at = [place[event.run_id] for event in found]
        np.add.at(doses[:, _COLUMN[cause]], at, [event.dose for event in found])
        kind = causes()[cause].kind
        watched_s = [run.watched_s.get(kind, 0.0) if kind else run.running_s for run in rows]
        unwatched_h[:, _COLUMN[cause]] = np.maximum(running_h - np.array(watched_s) / _HOUR_S, 0.0)
    known = [np.nan if run.revolutions is None else run.revolutions for run in rows]
    return Ledger(
        engine_id=engine_id,
        run_ids=tuple(run.run_id for run in rows),
        started_s=np.array([run.started_at.timestamp() for run in rows]),
        logged=np.array([not run.unlogged for run in rows], dtype=np.bool_),
        doses=doses,
        unwatched_h=unwatched_h,
        revolutions=np.array(known, dtype=np.float64),
        circuits=tuple(run.circuit for run in rows),
    )


def taken_in(
    ledgers: Mapping[str, Ledger], stretches: Iterable[Stretch], *, own_history_h: float = 0.0
) -> Taken:
    """Return what a part has taken over stretches of engines' lives that share no run.

    Args:
        ledgers: by engine.
        stretches: where it ran.
        own_history_h: running hours of its own from before it was first fitted.
    """
    doses, unwatched_h = np.zeros(len(_COLUMN)), np.zeros(len(_COLUMN))
    revolutions = np.nan if own_history_h else 0.0
    doses[_COLUMN[RUNNING]] += own_history_h
    unwatched_h += own_history_h
    unwatched_h[_COLUMN[RUNNING]] = 0.0
    for stretch in stretches:
        ledger = ledgers[stretch.engine_id]
        inside = ledger.within(stretch.since, stretch.until)
        doses += ledger.doses[inside].sum(axis=0)
        unwatched_h += ledger.unwatched_h[inside].sum(axis=0)
        revolutions += float(ledger.revolutions[inside].sum())
    return Taken(doses, unwatched_h, revolutions)


def usual_rates(
    ledgers: Iterable[Ledger],
    life: LifeSection,
    *,
    build_h: float | None,
    before: datetime | None = None,
) -> FloatArray:
    """Return the dose of each cause that an engine of the fleet takes in an hour; never zero.

    What was watched is weighed with the belief that a build takes USUAL_DOSE of each life dose, as
    if that had been seen for USUAL_HOURS.

    Args:
        ledgers: of the fleet.
        life: [life] of the engine spec.
        build_h: usual running hours of a build; None: not known, taken as USUAL_HOURS.
        before: only runs that started before this count.

    Returns:
        In the order of `causes()`, in its unit an hour; shape (causes,). A cause whose kind has
        no life dose has the rate that was watched; fatigue is believed to take an hour an hour;
        running time, which is always known, has 0.
    """
    kinds = [cause.kind for cause in causes().values()]
    lives = [life.of(kind) if kind else None for kind in kinds]
    doses = np.array(
        [0.0 if dose is None else USUAL_DOSE * dose / (build_h or USUAL_HOURS) for dose in lives]
    )
    doses *= USUAL_HOURS
    doses[[_COLUMN[cause] for cause in _CLOCKS]] = USUAL_HOURS
    hours = np.full(len(_COLUMN), USUAL_HOURS)
    for ledger in ledgers:
        inside = ledger.within(None, before)
        doses += ledger.doses[inside].sum(axis=0)
        hours += (ledger.running_h[inside, np.newaxis] - ledger.unwatched_h[inside]).sum(axis=0)
    rates: FloatArray = doses / hours
    rates[_COLUMN[RUNNING]] = 0.0
    return rates


class Loads:
    """What parts have taken as the damage model reads it, worked out once for all damage modes.

    What was not watched for no more than a BRIEF share of the running since the last look is added
    at its mean.

    Attributes:
        rates: of the fleet, see `usual_rates`; shape (causes,).
    """

    def __init__(self, rates: FloatArray) -> None:
        self.rates = rates
        self._known: dict[tuple[Taken, Taken | None], Load] = {}
        self._fitted: dict[tuple[object, ...], Load] = {}

    def of(self, now: Taken, sound: Taken | None = None) -> Load:
        """Return the load of a part.

        Args:
            now: what it has taken since it was new.
            sound: what it had taken by the last look that found it sound; None: not looked at yet.
        """
        if (now, sound) not in self._known:
            self._known[now, sound] = self._load(now, sound)
        return self._known[now, sound]

    def fitted(
        self,
        load: Load,
        engine_id: str,
        pieces: int,
        grade: int = 0,
        worn: float | None = None,
    ) -> Load:
        """Return the load of parts that sit in an engine; see `Load`."""
        key = id(load), engine_id, pieces, grade, worn
        if key not in self._fitted:
            self._fitted[key] = replace(
                load, engine_id=engine_id, pieces=pieces, grade=grade, worn=worn
            )
        return self._fitted[key]

    def _load(self, now: Taken, sound: Taken | None) -> Load:
        doses, unwatched_h, hours = now.doses, now.unwatched_h, now.running_h
        earlier = np.zeros_like(doses)
        if sound is not None:
            earlier = np.minimum(sound.doses, doses)
            unwatched_h = np.maximum(unwatched_h - sound.unwatched_h, 0.0)
            hours -= sound.running_h
        unseen = unwatched_h * self.rates
        brief = unwatched_h <= BRIEF * hours
        return Load(
            doses=_by_cause(doses + np.where(brief, unseen, 0.0)),
            unwatched=_by_cause(np.where(brief, 0.0, unseen)),
            sound_at=_by_cause(earlier),
        )


def column_of(cause: str) -> int:
    """Return the column of a cause in the arrays of this module."""
    return _COLUMN[cause]


_COLUMN = {name: column for column, name in enumerate(causes())}
_CLOCKS = [name for name, cause in causes().items() if cause.exposure and name != RUNNING]
"""Running totals beside running time itself."""


def _by_cause(values: FloatArray) -> dict[str, float]:
    return {name: float(values[column]) for name, column in _COLUMN.items() if values[column] > 0.0}
