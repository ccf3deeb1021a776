"""Runs that are being looked at, kept in memory so that a zoom reads no file."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from threading import Lock

import numpy as np

from babbitt.detect.conditions import held_oil_temperature
from babbitt.detect.pressure import PressureSurface, floor_line_kpa
from babbitt.logbook.folder import Logbook
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.run import (
    MISSING,
    SUSPECT,
    ChannelArray,
    FloatArray,
    IndexArray,
    Run,
    RunInfo,
    Signal,
    steps_above,
)

MOST_BYTES = 1 << 30
"""Runs beyond this are put away, those looked at longest ago first; the last one always stays."""

EXPECTED = "expected_oil_pressure"
"""Name of the trace of expected oil pressure."""

EXPECTED_OF = ("rpm", "oil_pressure")


@dataclass(frozen=True, eq=False)
class Trace:
    """A channel as it is drawn, in its canonical unit.

    Attributes:
        values: NaN where not usable; shape (samples,).
        unit: symbol.
        holes_s: start and end of each stretch without usable samples that is too long to draw
            across, s; shape (holes, 2).
        flagged: indices of the samples that are suspect or bad.
        flagged_values: as read, of each of these.
        low: least usable value; NaN without any.
        high: greatest usable value; NaN without any.
    """

    values: ChannelArray
    unit: str
    holes_s: FloatArray
    flagged: IndexArray
    flagged_values: ChannelArray
    low: float
    high: float

    @property
    def nbytes(self) -> int:
        """Bytes that it takes in memory."""
        arrays = (self.values, self.holes_s, self.flagged, self.flagged_values)
        return sum(array.nbytes for array in arrays)


@dataclass(frozen=True, eq=False)
class OpenRun:
    """A run whose traces can be drawn.

    Attributes:
        info: what it says of itself.
        time_s: strictly increasing; shape (samples,).
        traces: by channel; those asked for that the run has.
        expected_by: what the trace EXPECTED was worked out from; None without one.
    """

    info: RunInfo
    time_s: FloatArray
    traces: Mapping[str, Trace]
    expected_by: tuple[str, ...] | None = None

    @property
    def duration_s(self) -> float:
        """Seconds from the first sample to the last."""
        return float(self.time_s[-1]) if len(self.time_s) else 0.0

    @property
    def nbytes(self) -> int:
        """Bytes that it takes in memory."""
        return self.time_s.nbytes + sum(trace.nbytes for trace in self.traces.values())


class RunShelf:
    """Open runs, the ones looked at last; several threads may take from it."""

    def __init__(self, book: Logbook, *, most_bytes: int = MOST_BYTES) -> None:
        self._book = book
        self._most_bytes = most_bytes
        self._open: OrderedDict[tuple[str, int], OpenRun] = OrderedDict()
        self._lock = Lock()

    def take(
        self,
        engine_id: str,
        run_id: str,
        channels: Iterable[str],
        *,
        spec: EngineSpec,
        surface: PressureSurface | None,
    ) -> OpenRun:
        """Return a run with at least these of its channels, and with expected oil pressure.

        Args:
            engine_id: the engine that made it.
            run_id: its full id.
            channels: by name; those that it does not have stay out.
            spec: of the engine.
            surface: expected oil pressure of the build; None: the floor line is expected.

        Raises:
            LogbookError: its file is missing or damaged.
        """
        key = run_id, self._book.run_stamp(engine_id, run_id)
        with self._lock:
            known = self._open.pop(key, None)
            missing = [c for c in dict.fromkeys(channels) if known is None or c not in known.traces]
            if known is None or missing:
                run = self._book.read_run(engine_id, run_id, missing)
                gaps_s = _holes(run.time_s, run.info.max_gap_s)
                traces = {name: _trace(run, s, gaps_s) for name, s in run.signals.items()}
                before = known.traces if known else {}
                expected_by = known.expected_by if known else None
                known = OpenRun(run.info, run.time_s, {**before, **traces}, expected_by)
            by = spec.version(), surface.key if surface else "floor"
            if known.expected_by != by and all(name in known.traces for name in EXPECTED_OF):
                expected = self._expected(engine_id, run_id, spec, surface)
                known = replace(known, traces={**known.traces, EXPECTED: expected}, expected_by=by)
            self._open[key] = known
            self._put_away()
            return known

    def _put_away(self) -> None:
        while (
            len(self._open) > 1
            and sum(run.nbytes for run in self._open.values()) > self._most_bytes
        ):
            self._open.popitem(last=False)

    def _expected(
        self, engine_id: str, run_id: str, spec: EngineSpec, surface: PressureSurface | None
    ) -> Trace:
        run = self._book.read_run(engine_id, run_id, ("rpm", "oil_temperature"))
        rpm = run.signals["rpm"]
        expected = (
            floor_line_kpa(rpm.values, spec.oil_pressure)
            if surface is None
            else surface.expected(rpm.values, held_oil_temperature(run))
        )
        judged = rpm.usable() & (rpm.values > spec.oil_pressure.floor_above_rpm)
        expected[~judged] = np.nan
        return _drawn(run, expected, "kPa")


def _trace(run: Run, signal: Signal, gaps_s: FloatArray) -> Trace:
    values = signal.values.copy()
    values[~signal.usable()] = np.nan
    flagged = np.flatnonzero((signal.flags >= SUSPECT) & (signal.flags < MISSING))
    return replace(
        _drawn(run, values, signal.unit, gaps_s),
        flagged=flagged,
        flagged_values=signal.values[flagged],
    )


def _drawn(run: Run, values: ChannelArray, unit: str, gaps_s: FloatArray | None = None) -> Trace:
    """Return values as they are drawn; `gaps_s` are the holes of one that lost no sample."""
    lost = np.isnan(values)
    holes_s = gaps_s
    if holes_s is None or lost.any():
        holes_s = _holes(run.time_s[~lost], run.info.max_gap_s)
    known = not lost.all()
    none = np.zeros(0, dtype=np.intp)
    return Trace(
        values=values,
        unit=unit,
        holes_s=holes_s,
        flagged=none,
        flagged_values=values[none],
        low=float(np.nanmin(values)) if known else np.nan,
        high=float(np.nanmax(values)) if known else np.nan,
    )


def _holes(time_s: FloatArray, max_gap_s: float) -> FloatArray:
    ends = steps_above(time_s, max_gap_s)
    return np.column_stack((time_s[ends], time_s[ends + 1]))
