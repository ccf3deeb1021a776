"""Spans of a run become its events: what every kind has in common."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from babbitt.detect.conditions import Conditions
from babbitt.detect.pressure import PressureSurface
from babbitt.detect.spans import SampleArray, Spans
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import CERTAIN, Confidence, Direction, Event, event_id_of
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.run import BoolArray, FloatArray, IndexArray, Run

MERGE_GAP_S = 0.5
"""Spans that follow one another sooner are one event."""

TEMPERATURE_MERGE_GAP_S = 2.0
"""The same for temperatures, which move slowly."""


SURE = 1.1
"""A signal counts as released when it is by so much more than it takes, so that rounding decides
nothing."""


@dataclass(frozen=True)
class Detector:
    """What finds the events of a kind.

    Attributes:
        find: returns the events of a run; called where the run has what the kind needs.
        released: tells, for a run and limits, at which samples no event is open: its signal is
            released by SURE, or lost; shape (samples,).
        channels: that `released` reads; a run without one of them has no event.
    """

    find: Callable[[Run, EngineSpec, PressureSurface | None, Conditions], tuple[Event, ...]]
    released: Callable[[Run, EngineSpec, PressureSurface | None], BoolArray]
    channels: tuple[str, ...]


def below(run: Run, name: str, limit: float) -> BoolArray:
    """Samples at which a channel is below a limit, or lost; shape (samples,)."""
    signal = run.signals[name]
    found: BoolArray = (signal.values < limit) | ~signal.usable()
    return found


LEAST_SAMPLES = 2
"""What is shorter than so many samples of its channel cannot be told from one odd sample."""

RATE_TOLERANCE = 0.05
"""Loggers miss their nominal rate by a little."""


def least_duration_s(rate_hz: float, wanted_s: float) -> float:
    """Return how long the shortest event lasts that a channel shows.

    Slow sampling hides what is shorter than two of its samples, and nothing longer.

    Args:
        rate_hz: of the channel, as it was logged.
        wanted_s: as the limits have it; 0: no least.
    """
    if wanted_s == 0.0 or rate_hz <= 0.0:
        return wanted_s
    return max(wanted_s, LEAST_SAMPLES * (1.0 - RATE_TOLERANCE) / rate_hz)


def max_gap_s(run: Run, *channels: str) -> float:
    """Return the longest step, in seconds, over which these channels still count as known.

    A slow channel is bad for two of its own samples around a single bad reading, which is no gap.
    """
    rates_hz = (run.signals[name].native_hz for name in channels)
    slowest = max((1.0 / hz for hz in rates_hz if hz > 0.0), default=0.0)
    return max(run.info.max_gap_s, 3.0 * slowest)


def events_of(
    run: Run,
    spec: EngineSpec,
    spans: Spans,
    kinds: Sequence[Kind],
    *,
    values: SampleArray,
    peaks: IndexArray,
    doses: FloatArray,
    causes: Sequence[str | None] | None = None,
    directions: Sequence[Direction | None] | None = None,
    confidences: Sequence[Confidence] | None = None,
) -> tuple[Event, ...]:
    """Return the spans as events, one each, not reviewed.

    Args:
        run: where they were found.
        spec: the limits that judged them.
        spans: n of them.
        kinds: of each span; length n.
        values: the channel that the peaks are read from, in its canonical unit; shape (samples,).
        peaks: index of the worst sample of each span; shape (n,).
        doses: in the unit of the kind; shape (n,).
        causes: of each span; None: no cause to tell.
        directions: of each span; None: none to tell.
        confidences: of each span; None: all certain.
    """
    version = spec.version()
    events = []
    for i, kind in enumerate(kinds):
        peak_s = float(run.time_s[peaks[i]])
        direction = directions[i] if directions else None
        events.append(
            Event(
                event_id=event_id_of(run.info.run_id, kind, peak_s),
                run_id=run.info.run_id,
                engine_id=run.info.engine_id,
                kind=kind,
                start_s=float(spans.start_s[i]),
                end_s=float(spans.end_s[i]),
                duration_s=float(spans.duration_s[i]),
                peak=float(values[peaks[i]]),
                peak_s=peak_s,
                peak_unit=KINDS[kind].unit,
                dose=float(doses[i]),
                dose_unit=KINDS[kind].dose_unit,
                cause=causes[i] if causes else None,
                side=direction if direction in ("left", "right") else None,
                direction=direction,
                ended_by=spans.ended_by[i],
                confidence=confidences[i] if confidences else CERTAIN,
                review=None,
                spec_version=version,
            )
        )
    return tuple(events)
