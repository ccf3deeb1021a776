"""Detection in a run that comes in parts: searched between moments at which nothing is open."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

import numpy as np

from babbitt.detect.assemble import TEMPERATURE_MERGE_GAP_S, max_gap_s
from babbitt.detect.cold_load import RELEASE_SHARE, WARMTH_K
from babbitt.detect.conditions import held_oil_temperature
from babbitt.detect.judge import detect, in_order
from babbitt.detect.oil_pressure import RELEASE_KPA as OIL_RELEASE_KPA
from babbitt.detect.over_rev import RELEASE_RPM
from babbitt.detect.overboost import RELEASE_KPA
from babbitt.detect.overheat import RELEASE_K
from babbitt.detect.pressure import PressureSurface, floor_line_kpa
from babbitt.model.engine_running import stretches
from babbitt.model.engine_spec import KINDS, EngineSpec, Kind
from babbitt.model.event import Event
from babbitt.model.run import BoolArray, FloatArray, Run, join_parts
from babbitt.model.run_windows import BEFORE_S, begin_before, stretch

SURE = 1.1
"""Signals must be released by so much more than it takes, so that rounding decides nothing."""

_SLACK_S = 1.0
_TAIL_S = 120.0
"""A cut is looked for at the end of what is at hand before it is looked for in all of it."""


def detect_parts(
    parts: Iterable[Run],
    spec: EngineSpec,
    surface: PressureSurface | None,
    kinds: Collection[Kind] = KINDS,
) -> tuple[Event, ...]:
    """Find the harmful events of a run, the same as `detect` finds in the whole of it.

    What is held at once is two parts, and what an event that is open at their end needs: one that
    never ends is held from its beginning.

    Args:
        parts: of the run, in order.
        spec: the limits that judge it.
        surface: expected oil pressure of the engine's build; None: not known yet.
        kinds: only these are looked for; both kinds of low oil pressure, or neither.
    """
    found: list[Event] = []
    rest: Run | None = None
    first = 0  # of the samples that were not searched yet
    for part in parts:
        cut = None if rest is None else _last_cut(rest, first, spec, surface)
        if rest is not None and cut is not None:
            found += _beginning_in(detect(rest, spec, surface, kinds), rest, first, cut)
            begin = begin_before(rest, cut, BEFORE_S + spec.cornering.lookback_s)
            rest, first = stretch(rest, begin, rest.samples), cut - begin
        rest = part if rest is None else join_parts([rest, part], part.info)
    if rest is not None:
        found += _beginning_in(detect(rest, spec, surface, kinds), rest, first, None)
    return in_order(found)


def _beginning_in(events: Iterable[Event], run: Run, first: int, cut: int | None) -> list[Event]:
    from_s = run.time_s[first] if first else -np.inf
    to_s = np.inf if cut is None else run.time_s[cut]
    return [event for event in events if from_s <= event.start_s < to_s]


def _last_cut(
    run: Run, first: int, spec: EngineSpec, surface: PressureSurface | None
) -> int | None:
    """Return the last sample behind `first` at which nothing is open; None where there is none."""
    tail = int(np.searchsorted(run.time_s, run.time_s[-1] - _TAIL_S))
    for begin in (tail, 0) if tail else (0,):
        some = stretch(run, begin, run.samples)
        free = np.ones(some.samples, dtype=np.bool_)
        for released, reach_s in _released(some, spec, surface):
            free &= _for_long(released, some.time_s, reach_s)
        cuts = np.flatnonzero(free) + begin
        if len(cuts) and cuts[-1] > first:
            return int(cuts[-1])
    return None


def _for_long(mask: BoolArray, time_s: FloatArray, reach_s: float) -> BoolArray:
    """Tell at which samples the mask holds for `reach_s` before and behind them."""
    begins, ends = stretches(mask)
    opens = np.searchsorted(time_s, time_s[begins] + reach_s)
    closes = np.searchsorted(time_s, time_s[ends] - reach_s, side="right")
    some = opens < closes
    depth = np.zeros(len(mask) + 1, dtype=np.int8)
    depth[opens[some]] += 1
    depth[closes[some]] -= 1
    held: BoolArray = np.cumsum(depth[:-1]) > 0
    return held


def _released(
    run: Run, spec: EngineSpec, surface: PressureSurface | None
) -> Iterator[tuple[BoolArray, float]]:
    """Yield for each kind where its signal is released or lost, and how long it must be.

    That is longer than spans may be apart and become one event, and than the signal may be lost and
    a span go on.
    """
    limits = (
        ("rpm", spec.over_rev.redline_rpm - SURE * RELEASE_RPM),
        ("coolant_temperature", spec.coolant_temperature.limit_c - SURE * RELEASE_K),
        ("oil_temperature", spec.oil_temperature.limit_c - SURE * RELEASE_K),
        ("boost", spec.boost.limit_kpa - SURE * RELEASE_KPA),
    )
    for name, released_below in limits:
        if name in run.signals:
            yield _below(run, name, released_below), _reach_s(run, name)
    if "rpm" in run.signals:
        yield _no_cold_load(run, spec), _reach_s(run, "rpm")
    if "rpm" in run.signals and "oil_pressure" in run.signals:
        yield _oil_is_up(run, spec, surface), _reach_s(run, "rpm", "oil_pressure")


def _reach_s(run: Run, *names: str) -> float:
    return max(TEMPERATURE_MERGE_GAP_S, max_gap_s(run, *names)) + _SLACK_S


def _below(run: Run, name: str, limit: float) -> BoolArray:
    signal = run.signals[name]
    below: BoolArray = (signal.values < limit) | ~signal.usable()
    return below


def _no_cold_load(run: Run, spec: EngineSpec) -> BoolArray:
    limits, share = spec.cold_load, 1.0 - SURE * RELEASE_SHARE
    easy = _below(run, "rpm", limits.rpm * share)
    if "boost" in run.signals:
        easy &= _below(run, "boost", limits.boost_kpa * share)
    warm_c = spec.oil_temperature.warm_c + SURE * RELEASE_SHARE * WARMTH_K
    oil_c = held_oil_temperature(run)
    easy |= (oil_c > warm_c) | np.isnan(oil_c) | ~run.signals["rpm"].usable()
    return easy


def _oil_is_up(run: Run, spec: EngineSpec, surface: PressureSurface | None) -> BoolArray:
    oil, rpm, limits = run.signals["oil_pressure"], run.signals["rpm"], spec.oil_pressure
    up = (rpm.values <= limits.floor_above_rpm) | ~oil.usable() | ~rpm.usable()
    at = np.flatnonzero(~up)
    least = floor_line_kpa(rpm.values[at], limits)
    if surface is not None:
        expected = surface.expected(rpm.values[at], held_oil_temperature(run)[at])
        np.maximum(least, expected * np.float32(limits.starved_fraction), out=least)
    up[at] = oil.values[at] > least + SURE * OIL_RELEASE_KPA
    return up
