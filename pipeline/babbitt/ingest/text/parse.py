"""A log as far as it can be read without deciding whether it will be taken in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from babbitt.errors import LogRefusedError
from babbitt.ingest.columns.channels import Layout, lay_out
from babbitt.ingest.columns.plausible import missing_units
from babbitt.ingest.columns.series import NumberArray, merge_series
from babbitt.ingest.columns.store import SampleStore
from babbitt.ingest.source import Instructions, Problem, ReadSource
from babbitt.ingest.text.cells import CellReader, Rows
from babbitt.ingest.text.decode import Text, read_text
from babbitt.ingest.text.dialect import Dialect, find_dialect
from babbitt.ingest.text.fingerprint import recognise
from babbitt.ingest.text.lines import RowLines
from babbitt.ingest.time.clock import Clock, Timeline
from babbitt.ingest.time.coarse import Spreader
from babbitt.ingest.time.order import Batch, Sequencer
from babbitt.ingest.time.restart import Piece, Restart, shift_after
from babbitt.ingest.time.timebase import BaseBuilder
from babbitt.ingest.time.timing import ROW_NUMBERS
from babbitt.model.run import ChannelArray, FloatArray

BLOCK_BYTES = 1 << 22
"""Bytes of a log parsed at a time."""


@dataclass(frozen=True)
class Parsed:
    """A log, parsed.

    Attributes:
        dialect: how its table is written.
        why: how it was found out, a line each.
        layout: what its columns are.
        instructions: how it was read: those given, with the profile that knows its kind.
        timeline: what its time column says; None where rows were counted instead.
        rows: how many the log has.
        numbers: column -> its values on the time base; only columns that have any.
        texts: columns that hold text, not numbers.
        blanks: columns without a single value.
        repeats: what rows with one time there were, a sentence each.
        warnings: what was left out, a sentence each.
        problems: what keeps it from being taken in.
        refused: why its time cannot be read, None where it can or no column is the time.
    """

    dialect: Dialect
    why: tuple[str, ...]
    layout: Layout
    instructions: Instructions
    timeline: Timeline | None
    rows: int
    numbers: Numbers
    texts: tuple[int, ...]
    blanks: tuple[int, ...]
    repeats: tuple[str, ...]
    warnings: tuple[str, ...]
    problems: tuple[Problem, ...]
    refused: LogRefusedError | None = None


class Numbers(Mapping[int, ChannelArray]):
    """Columns of a store, each read as it is asked for."""

    def __init__(self, store: SampleStore, columns: tuple[int, ...]) -> None:
        """Offer some of the columns of `store`."""
        self.store = store
        self._columns = columns

    def __getitem__(self, column: int) -> ChannelArray:
        if column not in self._columns:
            raise KeyError(column)
        return self.store.column(column, 0, self.store.samples)

    def __contains__(self, column: object) -> bool:
        return column in self._columns  # without reading it

    def __iter__(self) -> Iterator[int]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)


def parse_log(
    source: ReadSource, instructions: Instructions, *, folder: Path | None = None
) -> Parsed:
    """Parse a log, and collect what keeps it from being taken in.

    Args:
        source: the log.
        instructions: how to read it.
        folder: for what of a long log does not fit into memory; None: the system's for such files.

    Raises:
        LogRefusedError: it is no table at all.
        SettingsError: a channel or unit given does not exist.
    """
    instructions.check()
    text = read_text(source)
    dialect = find_dialect(text, source.name)
    used = recognise(dialect, instructions, source.name)
    layout = lay_out(dialect, used)
    why = (*text.why, *dialect.why, *_about_profile(instructions, used))
    parsed = partial(_parse, text, dialect, layout, used, why, folder)
    if layout.time is None:
        return parsed(None)
    try:
        return parsed(_Timer(dialect, layout, used, source.name))
    except LogRefusedError as error:
        return replace(parsed(None), refused=error)


def _parse(
    text: Text,
    dialect: Dialect,
    layout: Layout,
    instructions: Instructions,
    why: tuple[str, ...],
    folder: Path | None,
    timer: _Timer | None,
) -> Parsed:
    """Parse a log; without a timer rows are counted.

    Raises:
        LogRefusedError: its rows cannot be told apart, or its time cannot be read.
    """
    reader = CellReader(
        dialect,
        text.name,
        as_text=timer.as_text if timer else (),
        exact=timer.exact if timer else (),
    )
    time = None if timer is None or layout.time is None else layout.time.index
    lines = RowLines(text, dialect, None if time == ROW_NUMBERS else time)
    store = SampleStore(reader.columns, folder)
    try:
        builder = BaseBuilder(store)
        elapsed = timer is None or timer.clock.says == "elapsed"
        sequencer, spreader = Sequencer(text.name, elapsed=elapsed), Spreader()
        pieces = _rows(lines.pieces(BLOCK_BYTES), reader, timer)
        if timer and layout.clocks:
            batches = _merged((rows for rows, _, _ in pieces), layout, timer, text.name)
        else:
            ordered = sequencer.ordered(
                (Batch(seconds, rows.numbers, rows.line_of), header)
                for rows, seconds, header in pieces
            )
            batches = spreader.spread(ordered)
        for batch in batches:
            builder.add(batch.seconds, batch.columns, batch.line_of)
        texts, blanks, warnings = reader.finish()
        timeline = timer.clock.timeline() if timer else None
        if timeline is not None and builder.first_s is not None:
            timeline = replace(timeline, first_s=builder.first_s)
        repeats = builder.finish()
    except BaseException:
        store.close()
        raise
    known = tuple(i for i in reader.columns if i not in texts and i not in blanks)
    numbers = Numbers(store, known)
    return Parsed(
        dialect=dialect,
        why=why,
        layout=layout,
        instructions=instructions,
        timeline=timeline,
        rows=reader.count,
        numbers=numbers,
        texts=texts,
        blanks=blanks,
        repeats=(*sequencer.warnings(), *spreader.warnings(), *repeats),
        warnings=(*lines.warnings(), *warnings),
        problems=(
            *layout.problems,
            *_unusable_rpm(layout, numbers, texts),
            *missing_units(layout.columns, layout.unitless, numbers),
        ),
    )


def _rows(
    pieces: Iterable[Piece], reader: CellReader, timer: _Timer | None
) -> Iterator[tuple[Rows, FloatArray, int | None]]:
    """Yield the rows of each piece, with their seconds.

    And with the line of a header right above them, where it does not tell how much later they are.
    """
    for piece in pieces:
        before = reader.count
        rows = reader.read(piece.data, piece.first_line)
        counted = np.arange(before, reader.count, dtype=np.float64)
        header = None
        if timer is not None and piece.restart is not None and not timer.restart(piece.restart):
            header = piece.restart.line
        yield rows, timer.seconds(rows, counted) if timer else counted, header


def _merged(blocks: Iterable[Rows], layout: Layout, timer: _Timer, name: str) -> Iterator[Batch]:
    """Yield rows of one time from channels that each bring a time column of their own."""
    clocks = {c.index: c.clock for c in layout.columns if c.clock is not None}
    columns: Iterator[dict[int, NumberArray]] = ({**rows.numbers, **rows.exact} for rows in blocks)
    for merged in merge_series(columns, clocks, name):
        seconds = timer.clock.read(merged.time, lambda _: 0)
        yield Batch(seconds, merged.numbers, lambda _: 0)


class _Timer:
    """Finds the time of the rows of each block: in one column, in two, or by counting rows."""

    def __init__(
        self, dialect: Dialect, layout: Layout, instructions: Instructions, name: str
    ) -> None:
        if layout.time is None:
            raise ValueError("the log has no time column")
        self._column = layout.time.index
        self._own_clocks = bool(layout.clocks)
        self._dialect = dialect
        self._profile = instructions.profile
        self._name = name
        textual = self._column in dialect.textual
        self._date = layout.date.index if layout.date is not None and textual else None
        self.as_text = [self._column] if textual else []
        self.exact = [] if textual or self._column == ROW_NUMBERS else [self._column]
        if self._date is not None:
            self.as_text.append(self._date)
        if self._own_clocks:
            self.exact = [clock.index for clock in layout.clocks]
        self.clock = Clock(layout.time, dialect, instructions, name, date_column=self._date)

    def restart(self, restart: Restart) -> bool:
        """Be told of a restart before the rows that come next; whether it tells how much later."""
        order = self._profile.dates if self._profile is not None else None
        shift_s = shift_after(restart, self._dialect.notes, order, self._name)
        self.clock.restart(restart.line, shift_s)
        return shift_s is not None

    def seconds(self, rows: Rows, counted: FloatArray) -> FloatArray:
        """Return the seconds of a block's rows, which are counted so among those of the log."""
        if self._own_clocks:
            return counted  # found once the channels are merged
        if self._column == ROW_NUMBERS:
            return self.clock.read(counted, rows.line_of)
        if self._column not in rows.texts:
            return self.clock.read(rows.exact[self._column], rows.line_of)
        cells = rows.texts[self._column]
        if self._date is not None:
            cells = pc.binary_join_element_wise(rows.texts[self._date], cells, pa.scalar(" "))
        return self.clock.read(cells, rows.line_of)


def _about_profile(given: Instructions, used: Instructions) -> tuple[str, ...]:
    if used.profile_name is None:
        return ()
    how = "named" if given.profile_name is not None else "recognised by its kind of file"
    return (f"Profile: {used.profile_name}, {how}.",)


def _unusable_rpm(
    layout: Layout, numbers: Mapping[int, ChannelArray], texts: tuple[int, ...]
) -> tuple[Problem, ...]:
    rpm = next((column for column in layout.columns if column.name == "rpm"), None)
    if rpm is None or rpm.index in numbers:
        return ()
    what = "holds text" if rpm.index in texts else "is blank throughout"
    sentence = f"the column of rpm, {rpm.header!r}, {what}: nothing can be judged without it"
    return (Problem(sentence),)
