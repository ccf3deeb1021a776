"""A log to a run: the one way in, from bytes to canonical channels with their quality flags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from pipeline.catalogue import WATCHED, channels
from pipeline.errors import BabbittError
from pipeline.ingest.cells import Table, parse_cells
from pipeline.ingest.channels import Column, Layout, lay_out
from pipeline.ingest.clock import read_timeline
from pipeline.ingest.convert import Ambient, convert, find_ambient, to_canonical
from pipeline.ingest.dates import note_of_start
from pipeline.ingest.dialect import Dialect, find_dialect
from pipeline.ingest.plausible import missing_units
from pipeline.ingest.quality import Fault, quality_sentences
from pipeline.ingest.source import Instructions, Problem, ReadSource, refusal
from pipeline.ingest.start import find_start
from pipeline.ingest.text import read_text
from pipeline.ingest.timebase import TimeBase, about_gaps, about_repeats, make_base, on_base, place
from pipeline.run import ChannelArray, FloatArray, Run, RunInfo, Signal

__all__ = ["Instructions", "ReadSource", "read_log"]

TURNING_ABOVE_RPM = 200.0
"""A starter motor turns an engine at about this speed (common practice, no source)."""

_UNWATCHED = {
    "oil_pressure": "oil starvation, low oil pressure",
    "oil_temperature": "oil overheating, load on cold oil",
    "coolant_temperature": "coolant overheating",
    "boost": "overboost",
    "lateral_g": "oil starvation",
}
"""What cannot be seen in a run without the channel."""


@dataclass(frozen=True)
class Parsed:
    """A log as far as it can be read without deciding whether it will be taken in.

    Attributes:
        dialect: how its table is written.
        why: how it was found out, a line each.
        layout: what its columns are.
        table: its rows.
        problems: what keeps it from being taken in.
    """

    dialect: Dialect
    why: tuple[str, ...]
    layout: Layout
    table: Table
    problems: tuple[Problem, ...]


def read_log(source: ReadSource, instructions: Instructions) -> Run:
    """Read a log.

    Args:
        source: the log.
        instructions: how to read it, and for which engine.

    Raises:
        LogRefusedError: it cannot be read, or only by guessing; says what would settle it.
        SettingsError: a channel or unit given does not exist.
    """
    try:
        return _read(source, instructions)
    except BabbittError as error:
        # A traceback would keep hold of the log's bytes, which the caller may want to unmap.
        raise error.with_traceback(None) from None


def parse_log(source: ReadSource, instructions: Instructions) -> Parsed:
    """Parse a log, and collect what keeps it from being taken in.

    Raises:
        LogRefusedError: it is no table at all.
        SettingsError: a channel or unit given does not exist.
    """
    instructions.check()
    text = read_text(source.data, source.name)
    dialect = find_dialect(text, source.name)
    layout = lay_out(dialect, instructions)
    time_column = None if layout.time is None else layout.time.index
    table = parse_cells(text, dialect, time_column, source.name)
    unknown = missing_units(layout.columns, table.numbers)
    return Parsed(
        dialect=dialect,
        why=(*text.why, *dialect.why),
        layout=layout,
        table=table,
        problems=(*layout.problems, *_unusable_rpm(layout, table), *unknown),
    )


def _read(source: ReadSource, instructions: Instructions) -> Run:
    log = parse_log(source, instructions)
    table, layout = log.table, log.layout
    if log.problems or layout.time is None:
        raise refusal(source.name, log.problems)
    timeline = read_timeline(table, layout.time, instructions, source.name)
    start = find_start(timeline, note_of_start(log.dialect.notes), source, instructions)
    base = make_base(timeline.seconds)
    repeats = about_repeats(base, table.numbers.values(), table.line_of)
    readings, conversions = _convert(layout, table.numbers, timeline.seconds, instructions)
    signals, faults = _signals(layout, readings, base)
    info = RunInfo(
        run_id=f"r{source.sha256[:15]}",
        engine_id=instructions.engine_id,
        started_at=start.at,
        start_basis=start.basis,
        source_name=source.name,
        source_sha256=source.sha256,
        dialect=(*log.why, *timeline.why, *start.why),
        conversions=conversions,
        warnings=(
            *start.warnings,
            *timeline.warnings,
            *about_gaps(base),
            *repeats,
            *about_columns(log),
            *_not_watched(signals),
        ),
        max_gap_s=base.max_gap_s,
    )
    run = Run(info, base.time_s, signals)
    sentences = quality_sentences(run, faults)
    return replace(run, info=replace(info, warnings=(*info.warnings, *sentences)))


def _unusable_rpm(layout: Layout, table: Table) -> tuple[Problem, ...]:
    rpm = next((column for column in layout.columns if column.name == "rpm"), None)
    if rpm is None:
        return ()
    what = "holds text" if rpm.index in table.texts else "is blank throughout"
    sentence = f"the column of rpm, {rpm.header!r}, {what}: nothing can be judged without it"
    return () if rpm.index in table.numbers else (Problem(sentence),)


def _convert(
    layout: Layout,
    numbers: Mapping[int, ChannelArray],
    seconds: FloatArray,
    instructions: Instructions,
) -> tuple[dict[str, ChannelArray], tuple[str, ...]]:
    """Return channel -> readings of every row, in canonical units, and what was done to them."""
    used = [column for column in layout.columns if column.index in numbers]
    ambient = _ambient(used, numbers, seconds, instructions)
    readings: dict[str, ChannelArray] = {}
    conversions: list[str] = []
    for column in used:
        values = numbers[column.index]
        if column.channel is not None:
            values, done = convert(values, column, ambient, instructions)
            conversions += done
        readings[column.name] = values
    return readings, tuple(conversions)


def _ambient(
    columns: Iterable[Column],
    numbers: Mapping[int, ChannelArray],
    seconds: FloatArray,
    instructions: Instructions,
) -> Ambient | None:
    """Return the ambient pressure where there is an absolute pressure to take it from."""
    absolute = [column for column in columns if column.absolute]
    if not absolute:
        return None
    canonical = {
        column.name: to_canonical(numbers[column.index], column.unit)
        for column in columns
        if column.unit is not None and (column in absolute or column.name == "rpm")
    }
    return find_ambient(seconds, canonical["rpm"], canonical.get("boost"), instructions)


def _signals(
    layout: Layout, readings: Mapping[str, ChannelArray], base: TimeBase
) -> tuple[dict[str, Signal], dict[str, tuple[Fault, ...]]]:
    """Return the channels on the time base, in the order of the log, and the faults of each."""
    by_name = {column.name: column for column in layout.columns if column.name in readings}
    signals: dict[str, Signal] = {}
    faults: dict[str, tuple[Fault, ...]] = {}
    turning = None
    for name in sorted(by_name, key=lambda name: name != "rpm"):
        column = by_name[name]
        channel = column.channel
        values = on_base(readings[name], base)
        if name == "rpm":  # by itself until it has flags of its own
            turning = values > TURNING_ABOVE_RPM
        placed = place(
            values,
            base,
            None if channel is None else channel.limits,
            turning=turning,
            hold=changes_in_steps(column),
        )
        unit = column.unit_text if channel is None else channel.unit.symbol
        signal = Signal(placed.values, placed.flags, unit, placed.native_hz, column.header)
        signals[name], faults[name] = signal, placed.faults
        if name == "rpm":
            turning = signal.usable() & (signal.values > TURNING_ABOVE_RPM)
    return {name: signals[name] for name in by_name}, faults


def changes_in_steps(column: Column) -> bool:
    """Whether a channel keeps its value between its samples: a count, or what nobody knows."""
    return column.channel is None or column.channel.unit.dimension == "number"


def about_columns(log: Parsed) -> tuple[str, ...]:
    """Say what of the cells and columns of a log was left out, or is not what it seems."""
    return (*log.table.warnings, *log.layout.warnings, *_left_out(log.layout, log.table))


def _left_out(layout: Layout, table: Table) -> list[str]:
    """Name the columns that are not in the run."""
    said: list[str] = []
    for indexes, why in ((table.texts, "text, not numbers"), (table.blanks, "blank throughout")):
        headers = [repr(c.header) for c in layout.columns if c.index in indexes]
        if headers:
            said.append(f"Left out as {why}: {', '.join(headers)}.")
    return said


def _not_watched(signals: Mapping[str, Signal]) -> list[str]:
    """Say what cannot be seen in a run for want of a channel."""
    lacking = [
        f"{channels()[name].title} ({_UNWATCHED[name]})" for name in WATCHED if name not in signals
    ]
    return [f"Not in this log, so not watched: {'; '.join(lacking)}."] if lacking else []
