"""Channels stated in another unit than they are in: readings off by what lies between two units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from babbitt.errors import Remedy
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.model.units import Unit, units_of
from babbitt.sensors.summary import SensorSummary
from babbitt.sensors.usual import Usual
from babbitt.sensors.words import runs_in_words, title_of, unit_logged

LEAST_TURNED_S = 30.0
"""A starter motor turns an engine for less."""

WELL_ABOVE_FLOOR = 1.4
"""Sound pressure over the floor line (common practice, no source)."""

_COMMON = ("kPa", "bar", "psi", "°C", "°F", "K", "1/min", "g", "m/s²")
"""Of units that fit equally well, such as bar and atm, the more common one is meant."""


@dataclass(frozen=True)
class _Rule:
    """When readings are off, and when another unit puts them right, as a ratio to the usual."""

    off: float
    fits: float


_BY_RUNS = _Rule(off=2.6, fits=1.5)
_BY_FLOOR = _Rule(off=4.0, fits=2.2)
_TOP_RPM = _Rule(off=2.6, fits=1.35)
_BOOST = _Rule(off=4.0, fits=1.8)
_LATERAL = _Rule(off=5.0, fits=2.0)


def unit_doubts(
    now: SensorSummary,
    usual: Usual,
    logged: Mapping[str, str],
    spec: EngineSpec | None,
) -> tuple[SensorDoubt, ...]:
    """Say which channels another unit than the one they were read in would put right.

    Args:
        now: of the run.
        usual: of earlier runs.
        logged: channel -> symbol of the unit that it was read in; left out: the canonical one.
        spec: of the engine; stands in for earlier runs where there are none.
    """
    found = [_pressure(now, usual, logged, spec), _speed(now, usual, logged, spec)]
    found += [_boost(now, usual, logged), _lateral(now, usual, logged)]
    found += [_temperature(name, now, usual, logged) for name in _TEMPERATURES]
    return tuple(doubt for doubt in found if doubt is not None)


_TEMPERATURES = {"oil_temperature": (40.0, 140.0), "coolant_temperature": (50.0, 112.0)}
"""Medians of a run that are ordinary, °C (common practice, no source)."""


def _pressure(
    now: SensorSummary, usual: Usual, logged: Mapping[str, str], spec: EngineSpec | None
) -> SensorDoubt | None:
    rule, against = _BY_RUNS, f"in {runs_in_words(usual.runs)} at the same engine speeds"
    expected: Mapping[float, float] = usual.pressure
    if not usual.runs and spec is not None:
        limits = spec.oil_pressure
        rule, against = _BY_FLOOR, "the floor line of the engine's limits asks for"
        expected = {
            p.rpm: WELL_ABOVE_FLOOR
            * min(limits.floor_kpa_per_1000rpm * p.rpm / 1000.0, limits.relief_kpa)
            for p in now.pressure
            if p.rpm >= limits.floor_above_rpm
        }
    pairs = [(p.kpa, expected[p.rpm]) for p in now.pressure if expected.get(p.rpm, 0.0) > 0.0]
    if len(pairs) < 3:
        return None
    ratios = np.array([kpa / reference for kpa, reference in pairs])
    if ratios.min() <= 0.0 or ratios.max() > 2.0 * ratios.min():
        return None  # whatever is wrong is not wrong by one factor
    return _by_ratio("oil_pressure", float(np.median(ratios)), rule, against, logged)


def _speed(
    now: SensorSummary, usual: Usual, logged: Mapping[str, str], spec: EngineSpec | None
) -> SensorDoubt | None:
    against = f"in {runs_in_words(usual.runs)}"
    expected = usual.top_rpm
    if expected is None and spec is not None:
        expected, against = spec.over_rev.redline_rpm, "the engine's redline allows for"
    if now.top_rpm is None or expected is None or now.turned_s < LEAST_TURNED_S:
        return None
    return _by_ratio("rpm", now.top_rpm / expected, _TOP_RPM, against, logged)


def _boost(now: SensorSummary, usual: Usual, logged: Mapping[str, str]) -> SensorDoubt | None:
    if "boost" not in now.running or "boost" not in usual.running:
        return None
    level, before = now.running["boost"], usual.running["boost"]
    ratio = (level.high - level.low) / max(before.high - before.low, 1e-3)
    idling = now.idling.get("boost"), usual.idling.get("boost")
    if idling[0] is not None and idling[1] is not None and abs(idling[1].median) > 20.0:
        ratio = idling[0].median / idling[1].median  # the steadier of the two
    against = f"in {runs_in_words(usual.runs)}"
    return _by_ratio("boost", ratio, _BOOST, against, logged) if ratio > 0.0 else None


def _lateral(now: SensorSummary, usual: Usual, logged: Mapping[str, str]) -> SensorDoubt | None:
    """Find readings too high only: low ones may be a slow lap, or a rolling road."""
    if "lateral_g" not in now.running:
        return None
    level = now.running["lateral_g"]
    spread = max(abs(level.low), abs(level.high))
    usual_level = usual.running.get("lateral_g")
    expected = 1.0 if usual_level is None else max(abs(usual_level.low), abs(usual_level.high))
    if spread < 5.0 or expected < 0.3:
        return None
    against = (
        f"in {runs_in_words(usual.runs)}" if usual_level is not None else "a car can corner with"
    )
    return _by_ratio("lateral_g", spread / expected, _LATERAL, against, logged)


def _temperature(
    name: str, now: SensorSummary, usual: Usual, logged: Mapping[str, str]
) -> SensorDoubt | None:
    if name not in now.running:
        return None
    read_c, ordinary = now.running[name].median, _TEMPERATURES[name]
    before = usual.running.get(name)
    if before is not None:
        against = f"where {before.median:.0f} is usual ({runs_in_words(usual.runs)})"
        off, fits = abs(read_c - before.median) > 40.0, _near(before.median, 20.0)
    else:
        against = "which no engine bears"
        off, fits = read_c > 160.0 or read_c < -20.0, _between(*ordinary)
    was = unit_logged(name, logged)
    others = [unit for unit in units_of("temperature") if unit.symbol != was.symbol]
    would_be = {unit.symbol: _converted(read_c, was, unit) for unit in others}
    fitting = [symbol for symbol, value in would_be.items() if fits(value)]
    if not off or not fitting:
        return None
    symbol = _commonest(fitting)
    return SensorDoubt(
        "unit",
        (name,),
        f"{title_of(name)} reads {read_c:.0f} °C on the median, {against}; taken as {symbol} "
        f"instead of {was.symbol} it would be {would_be[symbol]:.0f} °C",
        (Remedy("unit", name, symbol),),
    )


def _by_ratio(
    name: str, ratio: float, rule: _Rule, against: str, logged: Mapping[str, str]
) -> SensorDoubt | None:
    """Doubt the unit of a channel whose readings are `ratio` times what they should be."""
    if 1.0 / rule.off < ratio < rule.off:
        return None
    was = unit_logged(name, logged)
    misfit = {
        unit.symbol: abs(np.log(ratio * unit.factor / was.factor))
        for unit in units_of(was.dimension)
        if unit.symbol != was.symbol
    }
    fitting = [symbol for symbol, much in misfit.items() if much <= np.log(rule.fits)]
    if not fitting:
        return None
    symbol = _commonest(sorted(fitting, key=misfit.__getitem__))
    times, way = (ratio, "more") if ratio > 1.0 else (1.0 / ratio, "less")
    return SensorDoubt(
        "unit",
        (name,),
        f"{title_of(name)} reads {times:.3g} times {way} than {against}; taken as {symbol} instead "
        f"of {was.symbol} it would fit",
        (Remedy("unit", name, symbol),),
    )


def _commonest(symbols: list[str]) -> str:
    return min(symbols, key=lambda s: _COMMON.index(s) if s in _COMMON else len(_COMMON))


def _converted(canonical: float, was: Unit, unit: Unit) -> float:
    factor, offset = was.from_canonical()
    return (canonical * factor + offset) * unit.factor + unit.offset


def _near(value: float, within: float) -> Callable[[float], bool]:
    return lambda other: abs(other - value) <= within


def _between(low: float, high: float) -> Callable[[float], bool]:
    return lambda other: low <= other <= high
