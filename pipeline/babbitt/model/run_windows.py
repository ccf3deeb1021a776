"""Long runs taken stretch by stretch, each with what lies around it in sight."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from babbitt.model.run import Run, join_parts

BEFORE_S = 15.0
"""Seconds in sight before a stretch, at the least: what engine and car were doing tells by no
more."""

AFTER_S = 3.0
"""Seconds in sight behind it: longer than a failed start lasts (running.py)."""

_TO_SETTLE_S = 5.0


@dataclass(frozen=True)
class Window:
    """A stretch of a run, and what lies around it.

    Attributes:
        run: the stretch and its surroundings, as a run of its own; times are those of the whole.
        core: its samples that are the stretch.
    """

    run: Run
    core: slice


def whole(run: Run) -> Window:
    """Return all of a run as one stretch."""
    return Window(run, slice(0, run.samples))


def windows(parts: Iterable[Run], *, before_s: float = BEFORE_S) -> Iterator[Window]:
    """Yield each part of a run with its surroundings.

    Args:
        parts: of one run, in order, none empty.
        before_s: seconds in sight before each; more where engine speed was lost there.
    """
    rest: Run | None = None
    first = 0
    ends: list[int] = []
    for part in parts:
        after_s = AFTER_S + part.info.max_gap_s
        rest = part if rest is None else join_parts([rest, part], part.info)
        ends.append(rest.samples)
        while len(ends) > 1 and rest.time_s[-1] >= rest.time_s[ends[0]] + after_s:
            core = slice(first, ends[0])
            stop = np.searchsorted(rest.time_s, rest.time_s[ends[0]] + after_s) + 1
            yield Window(stretch(rest, 0, int(stop)), core)
            begin = begin_before(rest, ends[0], before_s + part.info.max_gap_s)
            rest = stretch(rest, begin, rest.samples)
            first = ends[0] - begin
            ends = [end - begin for end in ends[1:]]
    while rest is not None and ends:
        yield Window(rest, slice(first, ends[0]))
        first = ends.pop(0)


def begin_before(run: Run, at: int, before_s: float) -> int:
    """Return the sample from which on a run must be seen to know what it was doing at another.

    Args:
        run: the run.
        at: that sample.
        before_s: seconds in sight before it, at the least.
    """
    begin = int(np.searchsorted(run.time_s, run.time_s[at] - before_s))
    rpm = run.signals.get("rpm")
    if rpm is not None:
        # While engine speed is lost, the engine counts as doing what it did before.
        known = np.flatnonzero(rpm.usable()[:begin])
        begin = int(known[-1]) if len(known) else 0
    return int(np.searchsorted(run.time_s, run.time_s[begin] - _TO_SETTLE_S))


def stretch(run: Run, begin: int, stop: int) -> Run:
    """Return samples `begin` to `stop` of a run."""
    if begin == 0 and stop >= run.samples:
        return run
    some = slice(begin, stop)
    signals = {
        name: replace(signal, values=signal.values[some], flags=signal.flags[some])
        for name, signal in run.signals.items()
    }
    return Run(run.info, run.time_s[some], signals)
