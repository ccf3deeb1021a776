"""Which columns without a known name may be the time or the engine speed, by their first values."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from babbitt.ingest.text.dialect import Dialect
from babbitt.ingest.text.headers import name_and_unit
from babbitt.ingest.text.numerals import is_number
from babbitt.model.run import FloatArray

_SPEED_RPM = (300.0, 16_000.0)
"""Of an engine that runs, from idle to more than any turns (common practice, no source)."""

_MOST_OTHERS = 600.0
"""What is logged beside engine speed seldom reads more, in whatever unit (our own guess)."""

_MOST_NAMED = 3
_LEAST_ROWS = 3


@dataclass(frozen=True)
class Likely:
    """A column that may be what is looked for.

    Attributes:
        index: of the column.
        low: least of its first values.
        high: greatest of its first values.
        units: in which it may be, the likeliest first; none where the log or the values tell.
    """

    index: int
    low: float
    high: float
    units: tuple[str, ...] = ()


def may_be_time(dialect: Dialect) -> tuple[Likely, ...]:
    """Return the columns whose first values rise throughout, the steadiest first."""
    found: list[tuple[float, Likely]] = []
    for index in range(len(dialect.headers)):
        values = _first_values(dialect, index)
        steps = np.diff(values)
        if len(values) < _LEAST_ROWS or not (steps > 0.0).all():
            continue
        step = float(np.median(steps))
        units = ("ms", "s") if step >= 1.0 and not _states_unit(dialect, index) else ()
        unsteady = float(np.std(steps)) / step
        found.append((unsteady, Likely(index, float(values[0]), float(values[-1]), units)))
    found.sort(key=lambda pair: pair[0])
    return tuple(likely for _, likely in found[:_MOST_NAMED])


def may_be_speed(dialect: Dialect, others: Collection[int]) -> tuple[Likely, ...]:
    """Return the columns whose values an engine turns at and little else reads.

    Args:
        dialect: of the log.
        others: columns that are known to be another channel.
    """
    times = {likely.index for likely in may_be_time(dialect)[:1]}
    found: list[Likely] = []
    for index in range(len(dialect.headers)):
        values = _first_values(dialect, index)
        if index in others or index in times or len(values) < _LEAST_ROWS:
            continue
        low, high = float(values.min()), float(values.max())
        if _MOST_OTHERS < high <= _SPEED_RPM[1] and (low == 0.0 or low >= _SPEED_RPM[0]):
            found.append(
                Likely(index, low, high, () if _states_unit(dialect, index) else ("1/min",))
            )
    return tuple(found[:_MOST_NAMED])


def _states_unit(dialect: Dialect, index: int) -> bool:
    stated = dialect.units[index] or dialect.glued[index]
    return bool(stated or name_and_unit(dialect.headers[index])[1])


def _first_values(dialect: Dialect, index: int) -> FloatArray:
    cells = (row.cells[index] for row in dialect.rows)
    numbers = (_number(cell, dialect) for cell in cells if is_number(cell))
    values: FloatArray = np.array([value for value in numbers if value is not None])
    return values


def _number(cell: str, dialect: Dialect) -> float | None:
    for mark in dialect.grouping:
        cell = cell.replace(mark, "")
    try:
        return float(cell.replace(dialect.decimal, "."))
    except ValueError:
        return None
