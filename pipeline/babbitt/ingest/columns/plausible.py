"""Units that nobody stated: which would fit the values, for a person to choose from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from babbitt.errors import Remedy
from babbitt.ingest.columns.channels import Column
from babbitt.ingest.columns.convert import STANDARD_ATMOSPHERE_KPA
from babbitt.ingest.source import Problem
from babbitt.model.channels import Channel
from babbitt.model.run import ChannelArray
from babbitt.model.units import Unit, units_of

_SHARES = (1.0, 99.0)
_LEAST_REACH, _USUAL_REACH = 0.05, 0.4
"""How far up its range a channel gets in a run: hardly less than the first, usually the second."""

_MOST_UNITS = 4


def plausible_units(
    values: ChannelArray, channel: Channel, *, absolute: bool = False
) -> tuple[Unit, ...]:
    """Return the units in which readings make sense for a channel, the likeliest first.

    In such a unit the middle 98 % of the readings lie within what the channel's quality limits do
    not even suspect, and reach a fair part of that range.

    Args:
        values: readings in an unknown unit, NaN where missing.
        channel: what they are readings of.
        absolute: they are absolute pressures of a channel whose limits are gauge.
    """
    known = values[~np.isnan(values)]
    if not len(known):
        return ()
    span = np.percentile(known, _SHARES)
    low, high = channel.limits.gross_suspect
    fitting: list[tuple[float, Unit]] = []
    for unit in units_of(channel.unit.dimension):
        bottom, top = span * unit.factor + unit.offset - absolute * STANDARD_ATMOSPHERE_KPA
        reach = max(abs(bottom), abs(top)) / high
        if low <= bottom and top <= high and reach >= _LEAST_REACH:
            fitting.append((round(abs(math.log(reach / _USUAL_REACH)), 1), unit))
    fitting.sort(key=lambda pair: pair[0])
    return tuple(unit for _, unit in fitting[:_MOST_UNITS])


def missing_units(
    columns: Sequence[Column],
    unitless: Sequence[Column],
    numbers: Mapping[int, ChannelArray],
) -> tuple[Problem, ...]:
    """Return one problem that names every channel whose unit is not known, or none.

    Args:
        columns: of the log.
        unitless: channels that a log is taken in without: asked for only along with others.
        numbers: column -> its readings.
    """
    said: list[str] = []
    remedies: list[Remedy] = []
    needed = any(c.channel and c.unit is None and c.index in numbers for c in columns)
    for column in (*columns, *unitless) if needed else ():
        if column.channel is None or column.unit is not None or column.index not in numbers:
            continue
        values = numbers[column.index]
        units = plausible_units(values, column.channel, absolute=column.absolute)
        states = f"{column.unit_text!r} is none of its units" if column.unit_text else "none stated"
        fit = f"would fit {_either([unit.symbol for unit in units])}" if units else "fit none known"
        span = f"values {_short(np.nanmin(values))} to {_short(np.nanmax(values))}"
        said.append(f"{column.name} (column {column.header!r}: {states}; {span} {fit})")
        symbols = [unit.symbol for unit in units] or [""]
        remedies += [Remedy("unit", column.name, symbol) for symbol in symbols]
    if not said:
        return ()
    sentence = f"the unit is not known of {' and of '.join(said)}: state it"
    return (Problem(sentence, tuple(remedies)),)


def _short(value: np.float32) -> str:
    return f"{value:.4g}"


def _either(symbols: Sequence[str]) -> str:
    return symbols[0] if len(symbols) == 1 else f"{', '.join(symbols[:-1])} or {symbols[-1]}"
