"""What would be read from a log, before anything is stored."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from babbitt.errors import BabbittError, LogRefusedError, Remedy
from babbitt.ingest.circuit import NotedCircuit, circuit_noted
from babbitt.ingest.columns.channels import Column, UnitBasis
from babbitt.ingest.columns.plausible import plausible_units
from babbitt.ingest.read import LogRun, about_columns, changes_in_steps
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.ingest.text.fingerprint import fingerprint_of
from babbitt.ingest.text.parse import Parsed, parse_log
from babbitt.ingest.time.start import find_start
from babbitt.ingest.time.timebase import pace_of, place
from babbitt.ingest.time.timing import start_noted
from babbitt.logbook.settings import TIME
from babbitt.model.plain_text import capital
from babbitt.model.run import MISSING, ChannelArray, Run, RunOutline, StartBasis

Passing = Callable[[RunOutline, Iterator[Run]], Iterable[Run]]

TRACE = 16
"""Stretches of a log that a column's trace shows."""


@dataclass(frozen=True)
class ColumnView:
    """One column of a log, as it would be read.

    Attributes:
        header: as written; a repeated one has its number behind it.
        name: of the channel in the run, or "time".
        known: whether that is a canonical channel, or the time.
        given: whether the user or the profile says so, rather than the header.
        unit: of the readings, as the log has them; "" where it is not known.
        unit_basis: how the unit is known, "" where it is not.
        plausible: units that would fit the readings, likeliest first, where none is known.
        rate_hz: rate at which the logger recorded it, None where it cannot be told.
        low: least reading, in `unit`; None where there is none.
        high: greatest reading, in `unit`; None where there is none.
        share_missing: share of the run without a value, from 0 to 1.
        trace: of each of `TRACE` stretches of the log, the reading furthest from the median of all;
            None where it has none; empty for a column without readings.
        remark: what is special about it, "" where nothing is.
    """

    header: str
    name: str
    known: bool
    given: bool
    unit: str
    unit_basis: UnitBasis
    plausible: tuple[str, ...]
    rate_hz: float | None
    low: float | None
    high: float | None
    share_missing: float
    trace: tuple[float | None, ...]
    remark: str


@dataclass(frozen=True)
class LogPreview:
    """What would be read from a log.

    Attributes:
        source_name: file name.
        dialect: how it is written, and why it is thought so, a line each.
        rows: in the log.
        started_at: UTC, None where it cannot be told.
        start_basis: how the start is known.
        duration_s: from the first row to the last, None where it cannot be told.
        columns: of the log, in its order.
        problems: why it would be refused, a sentence each; none where it would be taken in.
        remedies: that would settle problems.
        warnings: what a reader of the run should know, a sentence each.
        profile_name: of the logger profile that was named, or that knows this kind of file.
        fingerprint: of this kind of file.
        circuit: that the log names; None where it names none.
    """

    source_name: str
    dialect: tuple[str, ...]
    rows: int
    started_at: datetime | None
    start_basis: StartBasis | None
    duration_s: float | None
    columns: tuple[ColumnView, ...]
    problems: tuple[str, ...]
    remedies: tuple[Remedy, ...]
    warnings: tuple[str, ...]
    profile_name: str | None
    fingerprint: str
    circuit: NotedCircuit | None


def preview_log(
    source: ReadSource, instructions: Instructions, *, passing: Passing = lambda _, parts: parts
) -> LogPreview:
    """Say what would be read from a log.

    What would make `read_log` refuse it is among the problems, as long as its table can be found.

    Args:
        source: the log.
        instructions: how to read it; no engine is needed.
        passing: is handed the run that would be taken in, part by part, and passes it on.

    Raises:
        LogRefusedError: it is no table at all.
        SettingsError: a channel or unit given does not exist.
    """
    try:
        return _preview(source, instructions, passing)
    except BabbittError as error:
        # A traceback would keep hold of the log's bytes, which the caller may want to unmap.
        raise error.with_traceback(None) from None


def _preview(source: ReadSource, instructions: Instructions, passing: Passing) -> LogPreview:
    log = parse_log(source, instructions)
    with log.numbers.store:
        return _previewed(log, source, passing)


def _previewed(log: Parsed, source: ReadSource, passing: Passing) -> LogPreview:
    noted = circuit_noted(log.dialect.notes)
    found = LogPreview(
        source_name=source.name,
        dialect=(*log.why, *([noted.why] if noted else [])),
        rows=log.rows,
        started_at=None,
        start_basis=None,
        duration_s=None,
        columns=(),
        problems=tuple(f"{capital(problem.sentence)}." for problem in log.problems),
        remedies=tuple(each for problem in log.problems for each in problem.remedies),
        warnings=about_columns(log),
        profile_name=log.instructions.profile_name,
        fingerprint=fingerprint_of(log.dialect),
        circuit=noted,
    )
    store, timeline, refused = log.numbers.store, log.timeline, log.refused
    if timeline is not None:
        try:
            date = log.layout.date
            note = start_noted(log.dialect, None if date is None else date.index)
            start = find_start(timeline, note, source, log.instructions)
            found = replace(
                found,
                dialect=(*found.dialect, *timeline.why, *start.why),
                started_at=start.at,
                start_basis=start.basis,
                duration_s=float(store.time_s(store.samples - 1, store.samples)[0]),
                warnings=(*start.warnings, *timeline.warnings, *found.warnings),
            )
        except LogRefusedError as error:
            refused = error
    if refused is not None:
        found = replace(
            found,
            problems=(*found.problems, capital(refused.sentence)),
            remedies=(*found.remedies, *refused.remedies),
        )
    columns = [_view(log, column) for column in log.layout.columns]
    if log.layout.time is not None:
        rate = None if timeline is None else pace_of(store).rate_hz
        columns.insert(log.layout.time.index, replace(_bare_view(log.layout.time), rate_hz=rate))
    warnings = found.warnings if found.problems else _warnings_of_run(log, source, passing)
    return replace(found, columns=tuple(columns), warnings=warnings)


def _warnings_of_run(log: Parsed, source: ReadSource, passing: Passing) -> tuple[str, ...]:
    """Return what would be said of the run, its sensors included."""
    run = LogRun(log, source)
    for _ in passing(run.outline(), run.parts()):
        pass  # a run's sensors are judged as its parts are taken
    return run.info.warnings


def _view(log: Parsed, column: Column) -> ColumnView:
    view = _bare_view(column)
    if column.index not in log.numbers:
        what = "text, not numbers" if column.index in log.texts else "blank throughout"
        return replace(view, share_missing=1.0, remark=f"{what}: left out")
    values = log.numbers[column.index]
    if np.isnan(values).all():
        return replace(view, share_missing=1.0, remark="no reading at a time that can be read")
    view = replace(
        view,
        low=float(np.nanmin(values)),
        high=float(np.nanmax(values)),
        share_missing=float(np.isnan(values).mean()),
        trace=_trace(values),
    )
    if column.channel is not None and column.unit is None:
        units = plausible_units(values, column.channel, absolute=column.absolute)
        view = replace(view, plausible=tuple(unit.symbol for unit in units))
    if log.timeline is not None:
        store = log.numbers.store
        time_s, pace = store.time_s(0, store.samples), pace_of(store, column.index)
        held = changes_in_steps(column)
        placed = place(values, time_s, pace, None, turning=None, hold=held)
        missing = float(np.mean(placed.flags == MISSING))
        view = replace(view, rate_hz=pace.rate_hz, share_missing=missing)
    return view


def _trace(values: ChannelArray) -> tuple[float | None, ...]:
    middle = np.nanmedian(values)
    stretches = (part[~np.isnan(part)] for part in np.array_split(values, min(TRACE, len(values))))
    return tuple(
        float(part[np.argmax(np.abs(part - middle))]) if len(part) else None for part in stretches
    )


def _bare_view(column: Column) -> ColumnView:
    known = column.channel is not None or column.name == TIME
    remark = "" if known else "kept under its own name"
    if column.channel is not None and column.unit is None:
        remark = "needs its unit"
    elif column.absolute:
        remark = "absolute: ambient pressure is taken off"
    return ColumnView(
        header=column.header,
        name=column.name,
        known=known,
        given=column.given,
        unit=column.unit_text if column.unit is None else column.unit.symbol,
        unit_basis=column.unit_basis,
        plausible=(),
        rate_hz=None,
        low=None,
        high=None,
        share_missing=0.0,
        trace=(),
        remark=remark,
    )
