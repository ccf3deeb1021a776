"""Stamps of time as text, column-wise: what the first of them settle, and the seconds of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from babbitt.ingest.source import Instructions
from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.numerals import is_blank
from babbitt.ingest.time.dates import DayOrder, ambiguous_date, read_dates, read_moment, zone_of
from babbitt.ingest.time.timing import ROW_NUMBERS
from babbitt.model.run import FloatArray


def first_cells(dialect: Dialect, column: int) -> tuple[list[int], list[str]]:
    """Return lines and cells of the first rows in which a column is filled."""
    filled = [
        (row.number, row.cells[column])
        for row in (dialect.rows if column != ROW_NUMBERS else ())
        if not is_blank(row.cells[column])
    ]
    return [line for line, _ in filled], [cell for _, cell in filled]


def joined(
    dates: tuple[list[int], list[str]], clocks: tuple[list[int], list[str]]
) -> tuple[list[int], list[str]]:
    """Return lines and cells of rows that have a date and a clock time, one behind the other."""
    date_of = dict(zip(*dates, strict=True))
    both = [
        (line, f"{date_of[line]} {clock}")
        for line, clock in zip(*clocks, strict=True)
        if line in date_of
    ]
    return [line for line, _ in both], [cell for _, cell in both]


def order_of(
    lines: Sequence[int], cells: Sequence[str], instructions: Instructions, name: str
) -> DayOrder:
    """Return the order of day, month and year that the first rows settle."""
    given = instructions.profile.dates if instructions.profile is not None else None
    moments = (read_moment(cell, 0) for cell in cells)
    texts = [moment.date if moment else "" for moment in moments]
    distinct = list(dict.fromkeys(filter(None, texts)))
    dates = read_dates(distinct, given)
    for text, readings in zip(distinct, dates, strict=True):
        settled = len(distinct) == 1 and instructions.started is not None
        if len(readings) > 1 and not settled:
            raise ambiguous_date(text, readings, lines[texts.index(text)], name)
    orders: tuple[DayOrder, ...] = get_args(DayOrder) if given is None else (given,)
    wanted = [readings[:1] for readings in dates]
    fitting = (
        order for order in orders if [days[:1] for days in read_dates(distinct, order)] == wanted
    )
    return next(fitting, orders[0])  # dates in several orders cannot all be read


def clock_s(parts: pa.ChunkedArray) -> FloatArray:
    """Return the seconds since midnight of clock times, NaN where there is none."""

    def number(part: str) -> FloatArray:
        texts = pc.replace_substring(pc.struct_field(parts, part), ",", ".")
        filled = pc.if_else(pc.equal(texts, ""), "0", texts)
        values: FloatArray = pc.cast(filled, pa.float64()).to_numpy()
        return values

    hours = number("h")
    halves = pc.fill_null(pc.utf8_upper(pc.struct_field(parts, "half")), "")
    in_half = pc.not_equal(halves, "").to_numpy()
    if in_half.any():
        afternoon = pc.starts_with(halves, "P").to_numpy()
        hours = np.where(in_half, hours % 12.0 + 12.0 * afternoon, hours)
        bare = pc.equal(pc.fill_null(pc.struct_field(parts, "h"), ""), "").to_numpy()
        hours[in_half & bare] = np.nan  # hours and minutes only: no time to tell rows apart by
    return hours * 3600.0 + number("m") * 60.0 + number("s")


def offset_s(zone: str) -> float:
    """Return the offset of a zone as text from UTC, in seconds; 0 where there is none."""
    if not zone:
        return 0.0
    offset = zone_of(zone).utcoffset(None)
    return offset.total_seconds()


def by_code(values: Sequence[float], encoded: pa.DictionaryArray) -> FloatArray:
    """Return the value of each element's code, NaN where it is null."""
    codes = encoded.indices.fill_null(len(values)).to_numpy(zero_copy_only=False)
    found: FloatArray = np.array([*values, np.nan])[codes]
    return found
