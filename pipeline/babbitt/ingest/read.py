"""A log to a run: the one way in, from bytes to canonical channels with their quality flags.

A run is made in parts, so that a log of any length takes a bounded share of memory: the log is
parsed block by block into a store of samples, and its channels are judged stretch by stretch, each
with what lies around it in sight. A run that is not longer than one part is judged as a whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from babbitt.errors import BabbittError, LogRefusedError
from babbitt.ingest.circuit import circuit_noted
from babbitt.ingest.columns.channels import Column
from babbitt.ingest.columns.convert import Ambient, convert, find_ambient, to_canonical
from babbitt.ingest.columns.store import SampleStore
from babbitt.ingest.quality.flags import Fault, quality_sentences
from babbitt.ingest.source import Instructions, ReadSource, problem_of, refusal
from babbitt.ingest.text.parse import Parsed, parse_log
from babbitt.ingest.text.wording import listed
from babbitt.ingest.time.start import find_start
from babbitt.ingest.time.timebase import Pace, Placed, about_gaps, pace_of, place
from babbitt.ingest.time.timing import start_noted
from babbitt.model.channels import WATCHED, channels
from babbitt.model.engine_running import interval_s
from babbitt.model.kinds import KINDS, kinds_without
from babbitt.model.run import (
    BAD,
    MISSING,
    ChannelArray,
    FloatArray,
    Run,
    RunInfo,
    RunOutline,
    Signal,
    SignalOutline,
    join_parts,
)

__all__ = ["Instructions", "LogRun", "ReadSource", "open_run", "read_log"]

PART_BYTES = 1 << 25
"""Most bytes of samples in one part of a run."""

MOST_SAMPLES = 1 << 19
"""Most samples in one part of a run: what is worked out about a part takes some twenty times as
much as one of its channels."""

CONTEXT_S = 900.0
"""Seconds in sight around a part as its channels are judged: half as long again as the longest time
that a sensor may read one value (channels.toml)."""

TURNING_ABOVE_RPM = 200.0
"""A starter motor turns an engine at about this speed (common practice, no source)."""


@dataclass(frozen=True)
class _Track:
    """One channel of a run in the making: its column, and how often it has samples."""

    column: Column
    pace: Pace


class LogRun:
    """The run that a log holds, part by part.

    Attributes:
        info: what it says of itself; of its sensors, once every part was taken.
        instructions: how it is read: those given, with the profile that knows its kind.
        noted: the circuit that it names; None where it names none.
    """

    def __init__(self, log: Parsed, source: ReadSource) -> None:
        """Decide what holds for the whole run.

        Args:
            log: whose store stays open as long as parts are taken.
            source: the log.

        Raises:
            LogRefusedError: it is not taken in; says what would settle it.
        """
        timeline, instructions = log.timeline, log.instructions
        problems = [*log.problems, *([problem_of(log.refused)] if log.refused else [])]
        start = None
        if timeline is not None:
            date = log.layout.date
            note = start_noted(log.dialect, None if date is None else date.index)
            try:
                start = find_start(timeline, note, source, instructions)
            except LogRefusedError as error:
                problems.append(problem_of(error))
        if problems or timeline is None or start is None:
            raise refusal(source.name, tuple(problems))
        self.noted = circuit_noted(log.dialect.notes)
        self._store = log.numbers.store
        self.instructions = instructions
        base = pace_of(self._store)
        self._tracks = {
            column.name: _Track(column, _pace(self._store, column.index, base))
            for column in log.layout.columns
            if column.index in log.numbers
        }
        self._ambient = self._find_ambient()
        self._faults: dict[str, list[Fault]] = {name: [] for name in self._tracks}
        self._missing_s = dict.fromkeys(self._tracks, 0.0)
        self._run_s = 0.0
        times = (self._store.time_s(a, b) for a, b in self._store.pieces())
        self.info = RunInfo(
            run_id=f"r{source.sha256[:15]}",
            engine_id=instructions.engine_id,
            started_at=start.at,
            start_basis=start.basis,
            source_name=source.name,
            source_sha256=source.sha256,
            dialect=(
                *log.why,
                *timeline.why,
                *start.why,
                *([self.noted.why] if self.noted else []),
            ),
            conversions=self._conversions(),
            warnings=(
                *start.warnings,
                *timeline.warnings,
                *about_gaps(times, base.gap_s),
                *log.repeats,
                *about_columns(log),
                *_not_watched(self._tracks),
            ),
            max_gap_s=base.gap_s,
        )

    def outline(self) -> RunOutline:
        """Return what can be said of the run without its samples."""
        samples = self._store.samples
        signals = {
            name: SignalOutline(_unit(track.column), track.pace.rate_hz, track.column.header)
            for name, track in self._tracks.items()
        }
        duration_s = float(self._store.time_s(samples - 1, samples)[0])
        return RunOutline(self.info, samples, duration_s, signals)

    def parts(self) -> Iterator[Run]:
        """Yield the run, part by part, and complete `info`; to be taken once."""
        samples = min(MOST_SAMPLES, max(1, PART_BYTES // (8 + 5 * len(self._tracks))))
        context_s = max(CONTEXT_S, *(track.pace.bridge_s for track in self._tracks.values()))
        for first in range(0, self._store.samples, samples):
            yield self._part(first, min(first + samples, self._store.samples), context_s)
        outline = {name: track.pace.rate_hz for name, track in self._tracks.items()}
        faults = {name: joined(found) for name, found in self._faults.items()}
        said = quality_sentences(outline, faults, self._missing_s, self._run_s)
        self.info = replace(self.info, warnings=(*self.info.warnings, *said))

    def _part(self, first: int, stop: int, context_s: float) -> Run:
        """Return samples `first` to `stop`, judged with `context_s` around them in sight."""
        store = self._store
        begin, end = _around(store, first, stop, context_s)
        time_s = store.time_s(begin, end)
        core = slice(first - begin, stop - begin)
        until_s = np.inf if stop == store.samples else float(time_s[core.stop])
        seconds = interval_s(time_s, self.info.max_gap_s)[core]
        self._run_s += float(seconds.sum())
        signals: dict[str, Signal] = {}
        speed: ChannelArray | None = None
        for name in sorted(self._tracks, key=lambda name: name != "rpm"):
            track = self._tracks[name]
            placed = self._placed(track, begin, end, time_s, speed)
            if name == "rpm":
                speed = np.where(placed.flags < BAD, placed.values, np.float32(np.nan))
            signals[name] = Signal(
                values=placed.values[core],
                flags=placed.flags[core],
                unit=_unit(track.column),
                native_hz=track.pace.rate_hz,
                header=track.column.header,
            )
            self._faults[name] += within(placed.faults, float(time_s[core.start]), until_s)
            missing = signals[name].flags == MISSING
            self._missing_s[name] += float(seconds[missing].sum())
        return Run(self.info, time_s[core], {name: signals[name] for name in self._tracks})

    def _placed(
        self, track: _Track, begin: int, end: int, time_s: FloatArray, speed: ChannelArray | None
    ) -> Placed:
        column = track.column
        values = self._store.column(column.index, begin, end)
        if column.channel is not None:
            values, _ = convert(values, column, self._ambient, self.instructions)
        by = values if column.name == "rpm" else speed  # by itself until it has flags of its own
        return place(
            values,
            time_s,
            track.pace,
            None if column.channel is None else column.channel.limits,
            turning=None if by is None else by > TURNING_ABOVE_RPM,
            speed_rpm=speed if _is_pressure(column) else None,
            hold=changes_in_steps(column),
        )

    def _conversions(self) -> tuple[str, ...]:
        said: list[str] = []
        for track in self._tracks.values():
            if track.column.channel is not None:
                first = self._store.column(track.column.index, 0, 1)
                said += convert(first, track.column, self._ambient, self.instructions)[1]
        return tuple(said)

    def _find_ambient(self) -> Ambient | None:
        """Return the ambient pressure where there is an absolute pressure to take it from."""
        columns = [track.column for track in self._tracks.values()]
        absolute = [column for column in columns if column.absolute]
        if not absolute:
            return None
        stop = min(MOST_SAMPLES, self._store.samples)
        canonical = {
            column.name: to_canonical(self._store.column(column.index, 0, stop), column.unit)
            for column in columns
            if column.unit is not None and (column in absolute or column.name == "rpm")
        }
        time_s = self._store.time_s(0, stop)
        return find_ambient(time_s, canonical["rpm"], canonical.get("boost"), self.instructions)


@contextmanager
def open_run(
    source: ReadSource, instructions: Instructions, *, folder: Path | None = None
) -> Iterator[LogRun]:
    """Read a log, and yield the run that it holds, to be taken part by part.

    Args:
        source: the log.
        instructions: how to read it, and for which engine.
        folder: for what of a long log does not fit into memory; None: the system's for such files.

    Raises:
        LogRefusedError: it cannot be read, or only by guessing; says what would settle it.
        SettingsError: a channel or unit given does not exist.
    """
    log = parse_log(source, instructions, folder=folder)
    with log.numbers.store:
        yield LogRun(log, source)


def read_log(source: ReadSource, instructions: Instructions) -> Run:
    """Read a log, and return its run as a whole; raises as `open_run` does."""
    try:
        with open_run(source, instructions) as log:
            parts = list(log.parts())
            return join_parts(parts, log.info)
    except BabbittError as error:
        # A traceback would keep hold of the log's bytes, which the caller may want to unmap.
        raise error.with_traceback(None) from None


def within(faults: Iterable[Fault], from_s: float, until_s: float) -> list[Fault]:
    """Return what of the faults lies in a part of the run."""
    return [
        replace(fault, start_s=max(fault.start_s, from_s), end_s=min(fault.end_s, until_s))
        for fault in faults
        if from_s <= fault.start_s < until_s or fault.start_s < from_s < fault.end_s
    ]


def joined(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Return the faults of a channel, those that a border between parts cut in two made whole."""
    whole: list[Fault] = []
    last: dict[str, int] = {}
    for fault in faults:
        at = last.get(fault.reason)
        if at is not None and whole[at].end_s == fault.start_s:
            whole[at] = replace(whole[at], end_s=fault.end_s)
        else:
            last[fault.reason] = len(whole)
            whole.append(fault)
    return tuple(whole)


def _is_pressure(column: Column) -> bool:
    return column.channel is not None and column.channel.unit.dimension == "pressure"


def changes_in_steps(column: Column) -> bool:
    """Whether a channel keeps its value between its samples: a count, or what nobody knows."""
    return column.channel is None or column.channel.unit.dimension == "number"


def about_columns(log: Parsed) -> tuple[str, ...]:
    """Say what of the cells and columns of a log was left out, or is not what it seems."""
    return (*log.warnings, *log.layout.warnings, *_left_out(log))


def _pace(store: SampleStore, column: int, base: Pace) -> Pace:
    """Return the pace of a column, which is that of the base where it is filled throughout."""
    filled = all(not np.isnan(store.column(column, a, b)).any() for a, b in store.pieces())
    return base if filled else pace_of(store, column)


def _around(store: SampleStore, first: int, stop: int, context_s: float) -> tuple[int, int]:
    """Return samples that lie `context_s` before `first` and behind `stop`, or the ends."""
    begin, end = first, stop
    reach = MOST_SAMPLES
    first_s = float(store.time_s(first, first + 1)[0])
    last_s = float(store.time_s(stop - 1, stop)[0])
    if begin:
        low = max(0, begin - reach)
        begin = low + int(np.searchsorted(store.time_s(low, begin), first_s - context_s))
    if end < store.samples:
        high = min(store.samples, end + reach)
        end += int(np.searchsorted(store.time_s(end, high), last_s + context_s, side="right"))
    return begin, end


def _unit(column: Column) -> str:
    return column.unit_text if column.channel is None else column.channel.unit.symbol


def _left_out(log: Parsed) -> list[str]:
    """Name the columns that are not in the run."""
    said: list[str] = []
    for indexes, why in ((log.texts, "text, not numbers"), (log.blanks, "blank throughout")):
        headers = [c.header for c in log.layout.columns if c.index in indexes]
        if headers:
            said.append(f"Left out as {why}: {listed(headers)}.")
    return said


def _not_watched(signals: Mapping[str, object]) -> list[str]:
    """Say what cannot be seen in a run for want of a channel."""
    lacking = [
        f"{channels()[name].title} ({_kinds_without(name)})"
        for name in WATCHED
        if name not in signals
    ]
    return [f"Not in this log, so not watched: {'; '.join(lacking)}."] if lacking else []


def _kinds_without(channel: str) -> str:
    return ", ".join(KINDS[kind].title for kind in kinds_without(channel))
