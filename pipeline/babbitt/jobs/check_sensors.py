"""The sensors of an engine's runs, each compared with those of the sound runs before it."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import TIME
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.register import Session
from babbitt.register.records import runs, sensors
from babbitt.register.records.sensors import Compared
from babbitt.sensors.clocks import clock_doubts
from babbitt.sensors.doubts import CHECKS_VERSION, MISREAD, as_logged, doubts_of
from babbitt.sensors.summary import SensorSummary

EXAMPLES = 12
"""A run is compared with so many sound ones before it: what is usual changes over the years."""

_GRAVE = (*MISREAD, "side")
"""A run that these speak against is no example for later ones."""


@dataclass(frozen=True)
class _Case:
    """A run, the sound runs before it, the starts of its neighbours, and the key of all that."""

    run: Compared
    examples: tuple[str, ...]
    neighbours: tuple[datetime, ...]
    key: str


def compare_sensors(book: Logbook, engine_id: str, spec: EngineSpec) -> None:
    """Find what speaks against the sensors of an engine's runs, wherever that is not known yet.

    Repeating it changes nothing. A run is compared anew when it was read again, and when what lies
    before it has changed: a late log, a removed run, a run that is trusted now.

    Args:
        book: the logbook.
        engine_id: the engine.
        spec: its limits.
    """
    waiting: list[_Case] = []

    def note(case: _Case) -> str:
        waiting.append(case)
        return case.run.doubts_key

    with book.register.reading() as session:
        _each(sensors.runs_to_compare(session, engine_id), spec, note)
    if not waiting:
        return
    with book.register.writing() as session:
        known: dict[str, SensorSummary] = {}

        def settle(case: _Case) -> str:
            doubts = _doubts(session, case, spec, known)
            run_id, by = case.run.run_id, case.key
            saved = sensors.save_doubts(session, run_id, doubts, compared_by=by, grave=_GRAVE)
            return saved.doubts_key

        _each(sensors.runs_to_compare(session, engine_id), spec, settle)


def _each(listed: Sequence[Compared], spec: EngineSpec, settle: Callable[[_Case], str]) -> None:
    """Go through the runs in order.

    Args:
        listed: the runs, in the order of their start.
        spec: of their engine.
        settle: sees to a run whose doubts are not of today, and returns their key.
    """
    limits = spec.version()
    examples: deque[Compared] = deque(maxlen=EXAMPLES)
    for place, run in enumerate(listed):
        if run.key is None:
            continue
        neighbours = tuple(
            listed[other].started_at for other in (place - 1, place + 1) if 0 <= other < len(listed)
        )
        keys = [example.key or "" for example in examples]
        own = (run.key, str(run.trusted), run.started_at.isoformat())
        near = [at.isoformat() for at in neighbours]
        text = "/".join([str(CHECKS_VERSION), limits, *own, *near, *keys])
        key = hashlib.sha256(text.encode()).hexdigest()[:16]
        case = _Case(run, tuple(example.run_id for example in examples), neighbours, key)
        if not (run.doubts_key if run.compared_by == key else settle(case)):
            examples.append(run)


def _doubts(
    session: Session, case: _Case, spec: EngineSpec, known: dict[str, SensorSummary]
) -> tuple[SensorDoubt, ...]:
    """Return what speaks against a run; `known` are summaries at hand, and stays small."""
    run = case.run
    if run.trusted:
        return ()
    wanted = {run.run_id, *case.examples}
    for name in known.keys() - wanted:
        del known[name]
    texts = sensors.summaries_of(session, wanted - known.keys())
    known |= {name: SensorSummary.from_json(text) for name, text in texts.items()}
    earlier = [known[name] for name in case.examples]
    record = runs.find_run(session, run.run_id)
    chosen = record.read_as is not None and TIME in record.read_as["columns"].values()
    logged = as_logged(record.conversions, clock_chosen=chosen)
    doubts = doubts_of(known[run.run_id], earlier, logged, spec)
    if record.start_basis == "log":
        doubts += clock_doubts(record.started_at, record.ingested_at, case.neighbours)
    return doubts
