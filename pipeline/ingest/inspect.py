"""What would be read from a log, before anything is stored."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from pipeline.errors import BabbittError, LogRefusedError
from pipeline.ingest.channels import Column, UnitBasis
from pipeline.ingest.clock import read_timeline
from pipeline.ingest.dates import note_of_start
from pipeline.ingest.plausible import plausible_units
from pipeline.ingest.read import Parsed, about_columns, changes_in_steps, parse_log
from pipeline.ingest.source import Instructions, ReadSource
from pipeline.ingest.start import find_start
from pipeline.ingest.timebase import TimeBase, make_base, on_base, place, rate_hz
from pipeline.run import MISSING, StartBasis
from pipeline.settings import TIME


@dataclass(frozen=True)
class ColumnView:
    """One column of a log, as it would be read.

    Attributes:
        header: as written; a repeated one has its number behind it.
        name: of the channel in the run, or "time".
        known: whether that is a canonical channel, or the time.
        given: whether the profile or --map says so, rather than the header.
        unit: of the readings, as the log has them; "" where it is not known.
        unit_basis: how the unit is known, "" where it is not.
        plausible: units that would fit the readings, likeliest first, where none is known.
        rate_hz: rate at which the logger recorded it, None where it cannot be told.
        low: least reading, in `unit`; None where there is none.
        high: greatest reading, in `unit`; None where there is none.
        share_missing: share of the run without a value, from 0 to 1.
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
    remark: str


@dataclass(frozen=True)
class Inspection:
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
        options: command-line options that would settle problems.
        warnings: what a reader of the run should know, a sentence each.
    """

    source_name: str
    dialect: tuple[str, ...]
    rows: int
    started_at: datetime | None
    start_basis: StartBasis | None
    duration_s: float | None
    columns: tuple[ColumnView, ...]
    problems: tuple[str, ...]
    options: tuple[str, ...]
    warnings: tuple[str, ...]

    def profile_toml(self, name: str) -> str:
        """Return a `[profile.NAME]` for logbook.toml with what was given for this log.

        What only a person can say stands in it as a comment.
        """
        key = name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)
        lines = [
            f"[profile.{key}]",
            '# lateral_positive = "left"  # or "right": the corner in which lateral g is positive',
            "# timezone = \"Europe/Paris\"  # of the logger's clock, where it is not the logbook's",
            '# dates = "day-first"  # or "month-first"',
            "",
            f"[profile.{key}.columns]",
            *(f"{_quoted(c.header)} = {_quoted(c.name)}" for c in self.columns if c.given),
            *(
                f'# {_quoted(c.header)} = ""'
                for c in self.columns
                if c.header and not c.known and c.low is not None
            ),
            "",
            f"[profile.{key}.units]",
            *(
                f"{c.name} = {_quoted(c.unit)}"
                for c in self.columns
                if c.unit_basis in ("--unit", "profile")
            ),
            *(
                f"# {c.name} = {_quoted(c.plausible[0] if c.plausible else '')}"
                f"{_others(c.plausible[1:])}"
                for c in self.columns
                if c.known and not c.unit_basis and c.name != TIME
            ),
        ]
        return "\n".join(lines) + "\n"


def inspect_log(source: ReadSource, instructions: Instructions) -> Inspection:
    """Say what would be read from a log.

    What would make `read_log` refuse it is among the problems, as long as its table can be found.

    Args:
        source: the log.
        instructions: how to read it; no engine is needed.

    Raises:
        LogRefusedError: it is no table at all.
        SettingsError: a channel or unit given does not exist.
    """
    try:
        return _inspect(source, instructions)
    except BabbittError as error:
        # A traceback would keep hold of the log's bytes, which the caller may want to unmap.
        raise error.with_traceback(None) from None


def _inspect(source: ReadSource, instructions: Instructions) -> Inspection:
    log = parse_log(source, instructions)
    found = Inspection(
        source_name=source.name,
        dialect=log.why,
        rows=log.table.rows,
        started_at=None,
        start_basis=None,
        duration_s=None,
        columns=(),
        problems=tuple(f"{_capital(problem.sentence)}." for problem in log.problems),
        options=tuple(problem.option for problem in log.problems if problem.option),
        warnings=about_columns(log),
    )
    base = None
    if log.layout.time is not None:
        try:
            timeline = read_timeline(log.table, log.layout.time, instructions, source.name)
            base = make_base(timeline.seconds)
            start = find_start(timeline, note_of_start(log.dialect.notes), source, instructions)
            found = replace(
                found,
                dialect=(*found.dialect, *timeline.why, *start.why),
                started_at=start.at,
                start_basis=start.basis,
                duration_s=float(base.time_s[-1]),
                warnings=(*start.warnings, *timeline.warnings, *found.warnings),
            )
        except LogRefusedError as error:
            sentence = _capital(str(error).removeprefix(f"{source.name}: "))
            options = () if error.option is None else (error.option,)
            found = replace(
                found,
                problems=(*found.problems, sentence),
                options=(*found.options, *options),
            )
    columns = [_view(log, column, base) for column in log.layout.columns]
    if log.layout.time is not None:
        rate = None if base is None else rate_hz(base.time_s)
        columns.insert(log.layout.time.index, replace(_bare_view(log.layout.time), rate_hz=rate))
    return replace(found, columns=tuple(columns))


def _view(log: Parsed, column: Column, base: TimeBase | None) -> ColumnView:
    view = _bare_view(column)
    if column.index not in log.table.numbers:
        what = "text, not numbers" if column.index in log.table.texts else "blank throughout"
        return replace(view, share_missing=1.0, remark=f"{what}: left out")
    values = log.table.numbers[column.index]
    view = replace(
        view,
        low=float(np.nanmin(values)),
        high=float(np.nanmax(values)),
        share_missing=float(np.isnan(values).mean()),
    )
    if column.channel is not None and column.unit is None:
        units = plausible_units(values, column.channel, absolute=column.absolute)
        view = replace(view, plausible=tuple(unit.symbol for unit in units))
    if base is not None:
        held = changes_in_steps(column)
        placed = place(on_base(values, base), base, None, turning=None, hold=held)
        missing = float(np.mean(placed.flags == MISSING))
        view = replace(view, rate_hz=placed.native_hz, share_missing=missing)
    return view


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
        remark=remark,
    )


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _others(symbols: tuple[str, ...]) -> str:
    return f"  # or {', '.join(symbols)}" if symbols else ""


def _quoted(text: str) -> str:
    """Return a TOML basic string, which is written as a JSON string is."""
    return json.dumps(text, ensure_ascii=False)
