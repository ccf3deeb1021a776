"""Sensors across the runs of an engine: which of them is dying?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from statistics import median

import numpy as np

from babbitt.errors import LogbookError
from babbitt.logbook.folder import Logbook
from babbitt.model.channels import WATCHED, channels
from babbitt.model.records import RunRecord
from babbitt.model.run import GOOD
from babbitt.present.words import share
from babbitt.register.queries.run_lines import newest_logged
from babbitt.register.records.engines import require_engine

RUNS = 12
"""So many runs of an engine are looked at."""

NOTABLE = 0.02
"""Less of a run is lost to plugs and noise in any car (our own choice)."""

WORSE = 2.0
"""A sensor is worse than before where so many times as much as usual is lost (our own choice)."""

_FILES_KEPT = 4096


@dataclass(frozen=True)
class SensorLine:
    """One channel across runs.

    Attributes:
        channel: its name.
        title: its name in a sentence.
        lost: share of each run in which it has no good reading, the oldest first; None: the run has
            no such channel.
        in_doubt: runs among them whose readings of it are in doubt.
        worse: it lost notably more of the newest run than is usual, or is gone from it.
        words: what to make of it.
    """

    channel: str
    title: str
    lost: tuple[float | None, ...]
    in_doubt: int
    worse: bool
    words: str


@dataclass(frozen=True)
class SensorsView:
    """The sensors of an engine across its newest runs.

    Attributes:
        engine_id: the engine.
        starts: of the runs, UTC, the oldest first.
        lines: the watched channels, then the others that any of the runs has.
        unreadable: runs whose file could not be read, a sentence each; they are left out.
    """

    engine_id: str
    starts: tuple[datetime, ...]
    lines: tuple[SensorLine, ...]
    unreadable: tuple[str, ...]


def sensors_view(book: Logbook, engine_id: str) -> SensorsView:
    """Read how well the sensors of an engine did in its newest runs.

    Args:
        book: the logbook.
        engine_id: the engine.

    Raises:
        RegisterError: no such engine.
    """
    with book.register.reading() as session:
        require_engine(session, engine_id)
        records = newest_logged(session, RUNS, by="start", engine_id=engine_id)[::-1]
    read: list[tuple[RunRecord, Mapping[str, float]]] = []
    unreadable: list[str] = []
    for record in records:
        try:
            read.append((record, lost_in(book, engine_id, record.run_id)))
        except LogbookError as error:
            unreadable.append(str(error))
    have = {name for _, lost in read for name in lost}
    names = [*WATCHED, *(name for name in channels() if name in have and name not in WATCHED)]
    lines = tuple(_line(name, read) for name in names) if read else ()
    starts = tuple(record.started_at for record, _ in read)
    return SensorsView(engine_id, starts, lines, tuple(unreadable))


def finding(view: SensorsView) -> str:
    """Say which sensors want a look."""
    count = len(view.starts)
    runs = "run" if count == 1 else f"{count} runs"
    bad = [line.title for line in view.lines if line.worse]
    if not count:
        return f"{view.engine_id} has no logged runs yet."
    if bad:
        return f"Look at {_and(bad)} of {view.engine_id}: worse in the newest run than before."
    doubted = [line.title for line in view.lines if line.in_doubt]
    if doubted:
        return f"No sensor of {view.engine_id} is dying, but {_and(doubted)} read oddly."
    return f"No sensor of {view.engine_id} got worse over its last {runs}."


@dataclass(frozen=True)
class _RunFile:
    """A run's file as it was at one moment."""

    name: str
    stamp: int
    book: Logbook = field(compare=False)


def lost_in(book: Logbook, engine_id: str, run_id: str) -> Mapping[str, float]:
    """Return the share of a run without a good reading, from 0 to 1, by canonical channel.

    Only the flags are read, and what was read is remembered for as long as the file is the same.

    Args:
        book: the logbook.
        engine_id: of the run.
        run_id: its full id.

    Raises:
        LogbookError: its file is missing or damaged.
    """
    name, stamp = book.run_name(engine_id, run_id), book.run_stamp(engine_id, run_id)
    return _lost_in(_RunFile(book.files.shown(name), stamp, book), engine_id, run_id)


@lru_cache(maxsize=_FILES_KEPT)
def _lost_in(key: _RunFile, engine_id: str, run_id: str) -> Mapping[str, float]:
    with key.book.run_file(engine_id, run_id) as file:
        have = set(file.schema_arrow.names)
        names = [name for name in channels() if f"{name}_flag" in have]
        table = file.read([f"{name}_flag" for name in names])
    return {
        name: float(np.mean(table[f"{name}_flag"].to_numpy() != GOOD)) if table.num_rows else 0.0
        for name in names
    }


def _line(name: str, read: Sequence[tuple[RunRecord, Mapping[str, float]]]) -> SensorLine:
    lost = tuple(of_run.get(name) for _, of_run in read)
    in_doubt = sum(any(name in doubt.channels for doubt in record.doubts) for record, _ in read)
    newest, before = lost[-1], [value for value in lost[:-1] if value is not None]
    usual, worst = (median(before), max(before)) if before else (0.0, 0.0)
    worse = False
    if newest is None:
        worse = len(before) == len(lost) - 1 > 0
        words = "gone from the newest run" if worse else "not logged in the newest run"
    elif newest >= NOTABLE:
        worse = newest >= WORSE * usual
        words = f"{share(newest)} lost in the newest run"
        words += f", {share(usual)} as a rule" if before else ""
    elif worst >= NOTABLE:
        words = f"good now; {share(worst)} lost {_runs_ago(lost, worst)}"
    else:
        words = "good"
    return SensorLine(name, channels()[name].title, lost, in_doubt, worse, words)


def _runs_ago(lost: Sequence[float | None], value: float) -> str:
    ago = list(reversed(lost)).index(value)
    return "one run ago" if ago == 1 else f"{ago} runs ago"


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
