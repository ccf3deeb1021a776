"""Detection in a run that comes in parts: searched between moments at which nothing is open."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import partial

import numpy as np

from babbitt.detect.assemble import TEMPERATURE_MERGE_GAP_S, max_gap_s
from babbitt.detect.judge import DETECTORS, detect, in_order
from babbitt.detect.pressure import PressureSurface
from babbitt.model.engine_running import stretches
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import BoolArray, FloatArray, Run, join_parts
from babbitt.model.run_windows import BEFORE_S, begin_before, stretch

_SLACK_S = 1.0
_TAIL_S = 120.0
"""A cut is looked for at the end of what is at hand before it is looked for in all of it."""


def detect_parts(
    parts: Iterable[Run],
    spec: EngineSpec,
    surface: PressureSurface | None,
    kinds: Collection[Kind] = KINDS,
    *,
    straight: float = 1.0,
) -> tuple[Event, ...]:
    """Find the harmful events of a run, the same as `detect` finds in the whole of it.

    What is held at once is two parts, and what an event that is open at their end needs: one that
    never ends is held from its beginning.

    Args:
        parts: of the run, in order.
        spec: the limits that judge it.
        surface: expected oil pressure of the engine's build; None: not known yet.
        kinds: only these are looked for; both kinds of low oil pressure, or neither.
        straight: see `straight_share`.
    """
    found: list[Event] = []
    search = partial(detect, spec=spec, surface=surface, kinds=kinds, straight=straight)
    rest: Run | None = None
    first = 0  # of the samples that were not searched yet
    for part in parts:
        cut = None if rest is None else _last_cut(rest, first, spec, surface)
        if rest is not None and cut is not None:
            found += _beginning_in(search(rest), rest, first, cut)
            begin = begin_before(rest, cut, BEFORE_S + spec.cornering.lookback_s)
            rest, first = stretch(rest, begin, rest.samples), cut - begin
        rest = part if rest is None else join_parts([rest, part], part.info)
    if rest is not None:
        found += _beginning_in(search(rest), rest, first, None)
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
    for detector in dict.fromkeys(DETECTORS.values()):
        if all(name in run.signals for name in detector.channels):
            yield detector.released(run, spec, surface), _reach_s(run, *detector.channels)


def _reach_s(run: Run, *names: str) -> float:
    return max(TEMPERATURE_MERGE_GAP_S, max_gap_s(run, *names)) + _SLACK_S
