"""Expected oil pressure, learned from a build's own steady running.

A run leaves a small summary of its steady stretches; the summaries of a build's first runs become
a surface over engine speed and oil temperature.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from babbitt.detect.conditions import conditions_of
from babbitt.detect.knots import locate
from babbitt.detect.spans import SampleArray
from babbitt.model.engine_spec import EngineSpec, OilPressureSection
from babbitt.model.run import ChannelArray, FloatArray, IndexArray, Run
from babbitt.model.run_windows import Window, whole

BLOCK_S = 0.25
"""Steadiness is judged by the means of blocks of this length."""

STEADY_RPM_PER_S = 500.0
"""Faster changes of engine speed are not steady. Pressure follows speed by up to 0.1 s, which at
this rate is 1 % at 5,000 1/min (common practice, no source)."""

BIN_RPM = 250.0
BIN_C = 5.0
"""Steady blocks are summed up in bins of this size; the surface's knots are as far apart."""

LEAST_STEADY_S = 120.0
LEAST_BINS = 12
LEAST_RPM_RANGE = 1500.0
"""What it takes to learn a surface, of steady running above floor_above_rpm: what a run of some ten
laps holds (common practice, no source)."""

LEAST_STRAIGHT_S = 10.0
TIRED_SHARE = 0.9
"""What it takes to say that a run's pressure was low when going straight: so much of it, and less
than this share of what was expected (common practice, no source)."""

LEARNER_VERSION = 1
"""Raised whenever the same steady running gives another surface than before."""

_STEADY_OF = ("rpm", "oil_temperature", "oil_pressure")


@dataclass(frozen=True)
class PressureBin:
    """Steady running in one bin of engine speed and oil temperature.

    Attributes:
        seconds: how much of it.
        rpm: mean engine speed, 1/min.
        oil_c: mean oil temperature, °C.
        kpa: mean oil pressure, kPa; blocks far from the bin's median are left out of the means.
        spread_kpa: robust standard deviation of the blocks' pressures, kPa.
    """

    seconds: float
    rpm: float
    oil_c: float
    kpa: float
    spread_kpa: float


@dataclass(frozen=True)
class PressureSummary:
    """The steady oil pressure of one run; no bins where it has none."""

    run_id: str
    bins: tuple[PressureBin, ...]

    def to_json(self) -> str:
        """Return it as JSON."""
        return json.dumps({"run_id": self.run_id, "bins": [vars(each) for each in self.bins]})

    @classmethod
    def from_json(cls, text: str) -> PressureSummary:
        """Return the summary that `to_json` wrote."""
        raw = json.loads(text)
        return cls(raw["run_id"], tuple(PressureBin(**row) for row in raw["bins"]))


@dataclass(frozen=True, eq=False)
class PressureSurface:
    """Expected oil pressure of a build: bilinear between knots.

    It never falls with engine speed and never rises with temperature, and stays as it is beyond
    the knots. Where the runs that it comes from never were, it expects the least that what they
    showed allows, and no more than the spec's floor line where they showed nothing slower and
    hotter.

    Attributes:
        rpm: knots, 1/min, BIN_RPM apart; shape (n,), n >= 2.
        oil_c: knots, °C, BIN_C apart; shape (m,), m >= 2.
        kpa: pressure at the knots; shape (n, m).
        learned_from: ids of the runs it comes from, in order of start.
        fitted_to: hash of all that it was fitted to; "": not known.
    """

    rpm: FloatArray
    oil_c: FloatArray
    kpa: FloatArray
    learned_from: tuple[str, ...]
    fitted_to: str = ""

    @property
    def key(self) -> str:
        """Hash of knots and values; 12 hex digits. Equal keys expect equal pressures."""
        return hashlib.sha256(self._knots_json().encode()).hexdigest()[:12]

    def expected(self, rpm: SampleArray, oil_c: SampleArray) -> ChannelArray:
        """Return the expected pressure.

        Args:
            rpm: 1/min; shape (samples,).
            oil_c: °C, NaN where not known: taken as hotter than any seen; shape (samples,).

        Returns:
            kPa, float32; shape (samples,).
        """
        kpa = self.kpa.astype(np.float32).ravel()
        columns = len(self.oil_c)
        row, along = locate(rpm, self.rpm)
        column, across = locate(np.fmin(oil_c, np.float32(self.oil_c[-1])), self.oil_c)
        corner = row * columns + column
        low: ChannelArray = kpa[corner]
        low += across * (kpa[corner + 1] - low)
        corner += columns
        high: ChannelArray = kpa[corner]
        high += across * (kpa[corner + 1] - high)
        high -= low
        high *= along
        high += low
        return high

    def to_json(self) -> str:
        """Return it as JSON."""
        told = {"learned_from": self.learned_from, "fitted_to": self.fitted_to}
        return json.dumps({**json.loads(self._knots_json()), **told})

    @classmethod
    def from_json(cls, text: str) -> PressureSurface:
        """Return the surface that `to_json` wrote."""
        raw = json.loads(text)
        rpm, oil_c, kpa = (np.array(raw[name], np.float64) for name in ("rpm", "oil_c", "kpa"))
        return cls(rpm, oil_c, kpa, tuple(raw["learned_from"]), raw.get("fitted_to", ""))

    def _knots_json(self) -> str:
        return json.dumps({name: getattr(self, name).tolist() for name in ("rpm", "oil_c", "kpa")})


def floor_line_kpa(rpm: FloatArray | ChannelArray, limits: OilPressureSection) -> ChannelArray:
    """Return the spec's floor line: kPa per 1,000 1/min, up to relief.

    Args:
        rpm: 1/min; shape (samples,).
        limits: of the engine.

    Returns:
        kPa, float32; shape (samples,).
    """
    slope, relief = np.float32(limits.floor_kpa_per_1000rpm / 1000.0), np.float32(limits.relief_kpa)
    floor: ChannelArray = np.minimum(rpm.astype(np.float32, copy=False) * slope, relief)
    return floor


def steady_pressure(run: Run, spec: EngineSpec) -> PressureSummary:
    """Sum up the oil pressure of a run where it was steady.

    Steady is a block of BLOCK_S before which engine speed hardly changed over two more, and in all
    three the engine had settled, the car did not corner and every sample was usable. A run without
    lateral acceleration cannot tell cornering; its steady blocks are taken as they are.

    Args:
        run: one without oil pressure or oil temperature has no bins.
        spec: of its engine.
    """
    total = SteadySum(spec)
    total.add(whole(run))
    return total.summary(run.info.run_id)


class SteadySum:
    """The steady oil pressure of a run, gathered stretch by stretch; see `steady_pressure`."""

    def __init__(self, spec: EngineSpec) -> None:
        """Begin with none.

        Args:
            spec: of the engine.
        """
        self._spec = spec
        self._cells: dict[tuple[float, float], list[FloatArray]] = {}

    def add(self, window: Window) -> None:
        """Add the next stretch."""
        blocks = _steady_blocks(window, self._spec)
        if not len(blocks):
            return
        cells = np.floor(blocks[:, :2] / (BIN_RPM, BIN_C))
        order = np.lexsort((cells[:, 1], cells[:, 0]))
        cells, blocks = cells[order], blocks[order]
        bounds = np.flatnonzero(np.any(cells[1:] != cells[:-1], axis=1)) + 1
        for first, some in zip([0, *bounds.tolist()], np.split(blocks, bounds), strict=True):
            rpm, oil_c = cells[first].tolist()
            self._cells.setdefault((rpm, oil_c), []).append(some)

    def summary(self, run_id: str) -> PressureSummary:
        """Return the sum, as that of the run `run_id`."""
        bins = (_bin(np.concatenate(blocks)) for _, blocks in sorted(self._cells.items()))
        return PressureSummary(run_id, tuple(bins))


def _steady_blocks(window: Window, spec: EngineSpec) -> FloatArray:
    """Return mean rpm, oil temperature and oil pressure of the steady blocks; shape (blocks, 3).

    A block belongs to the stretch in which it begins.
    """
    run = window.run
    if any(name not in run.signals for name in _STEADY_OF):
        return np.zeros((0, 3))
    conditions = conditions_of(run, spec)
    calm = conditions.settled & (conditions.turning == 0)
    for name in _STEADY_OF:
        calm &= run.signals[name].usable()
    number, edges = _occupied_blocks(window)
    if len(number) < 3:
        return np.zeros((0, 3))
    unbroken = np.logical_and.reduceat(calm, edges)[:-1]
    sums = [
        np.add.reduceat(run.signals[name].values, edges, dtype=np.float64)[:-1]
        for name in _STEADY_OF
    ]
    means = np.column_stack(sums) / np.diff(edges)[:, np.newaxis]
    level = np.abs(np.diff(means[:, 0])) <= STEADY_RPM_PER_S * BLOCK_S
    level &= unbroken[1:] & unbroken[:-1] & (np.diff(number) == 1)
    # An engine that has settled has some pressure: a sensor that reads none is not connected.
    blocks: FloatArray = means[2:][level[1:] & level[:-1] & (means[2:, 2] > 0.0)]
    return blocks


def _occupied_blocks(window: Window) -> tuple[IndexArray, IndexArray]:
    """Return the numbers of the blocks that have samples, and where among the samples they begin.

    They are those that begin in the stretch and the two before. Room goes by samples, never by
    seconds: a clock that is set while it logs leaps by decades.

    Returns:
        shapes (blocks,) and (blocks + 1,), for the last ends where the next would begin.
    """
    time_s, core = window.run.time_s, window.core
    first = max(math.ceil(time_s[core.start] / BLOCK_S) - 2, 0) if core.start else 0
    last = math.ceil(window.run.duration_s / BLOCK_S) - 1  # the run goes on behind it
    if core.stop < len(time_s):
        last = min(last, math.ceil(time_s[core.stop] / BLOCK_S))
    begin, end = np.searchsorted(time_s, (first * BLOCK_S, last * BLOCK_S))
    numbers = np.floor(time_s[begin:end] / BLOCK_S).astype(np.int64)
    starts = np.flatnonzero(np.diff(numbers, prepend=first - 1))
    return numbers[starts], np.append(begin + starts, end)


def _bin(blocks: FloatArray) -> PressureBin:
    kpa = blocks[:, 2]
    off = np.abs(kpa - np.median(kpa))
    spread_kpa = 1.4826 * float(np.median(off))
    rpm, oil_c, mean_kpa = blocks[off <= 3.0 * spread_kpa].mean(axis=0)
    return PressureBin(len(blocks) * BLOCK_S, float(rpm), float(oil_c), float(mean_kpa), spread_kpa)


def straight_share(
    summary: PressureSummary, surface: PressureSurface | None, spec: EngineSpec
) -> float:
    """Return what share of the expected oil pressure a run had where the car went straight.

    A tired pump is low everywhere: what is lost in corners is told against this.

    Args:
        summary: of the run, which holds steady straight running alone.
        surface: expected pressure of the build; None: the floor line is.
        spec: of the engine.

    Returns:
        The median over time; 1 where too little of the run was so, or hardly anything is missing.
    """
    bins = [each for each in summary.bins if each.rpm > spec.oil_pressure.floor_above_rpm]
    seconds = np.array([each.seconds for each in bins])
    if seconds.sum() < LEAST_STRAIGHT_S:
        return 1.0
    rpm = np.array([each.rpm for each in bins])
    if surface is None:
        expected = floor_line_kpa(rpm, spec.oil_pressure)
    else:
        expected = surface.expected(rpm, np.array([each.oil_c for each in bins]))
    shares = np.array([each.kpa for each in bins]) / expected
    order = np.argsort(shares)
    middle = np.searchsorted(seconds[order].cumsum(), seconds.sum() / 2.0)
    share = float(shares[order][middle])
    return share if share < TIRED_SHARE else 1.0


def learn_surface(
    summaries: Sequence[PressureSummary], spec: EngineSpec, known: PressureSurface | None = None
) -> PressureSurface | None:
    """Learn the expected pressure of a build from its first runs.

    Takes as many runs from the front as it needs, and no more, so that later runs of the build do
    not change what its early ones expect.

    Args:
        summaries: of the build's runs, in order of start.
        spec: of the engine.
        known: learned before; it is not fitted again to what it was fitted to.

    Returns:
        None while the runs hold too little steady running.
    """
    bins: list[PressureBin] = []
    runs: list[str] = []
    for summary in summaries:
        if summary.bins:
            bins += summary.bins
            runs.append(summary.run_id)
            if _enough(bins, spec.oil_pressure.floor_above_rpm):
                return _surface(bins, runs, spec.oil_pressure, known)
    return None


def _enough(bins: Sequence[PressureBin], above_rpm: float) -> bool:
    judged = [b for b in bins if b.rpm > above_rpm]
    if not judged:
        return False
    cells = {(b.rpm // BIN_RPM, b.oil_c // BIN_C) for b in judged}
    speeds = [b.rpm for b in judged]
    return (
        sum(b.seconds for b in judged) >= LEAST_STEADY_S
        and len(cells) >= LEAST_BINS
        and max(speeds) - min(speeds) >= LEAST_RPM_RANGE
    )


def _surface(
    bins: Sequence[PressureBin],
    runs: Sequence[str],
    limits: OilPressureSection,
    known: PressureSurface | None,
) -> PressureSurface:
    rpm, oil_c, kpa, seconds = np.array([(b.rpm, b.oil_c, b.kpa, b.seconds) for b in bins]).T
    rpm_knots = np.arange(1.0, np.ceil(rpm.max() / BIN_RPM) + 1.0) * BIN_RPM
    coldest, hottest = np.floor(oil_c.min() / BIN_C), np.ceil(oil_c.max() / BIN_C)
    # Two knots beyond the hottest seen: from there on nothing is known but the floor line.
    oil_c_knots = np.arange(coldest, hottest + 3.0) * BIN_C
    floor = floor_line_kpa(rpm_knots, limits).astype(np.float64)
    given = (rpm, oil_c, kpa, seconds, rpm_knots, oil_c_knots, floor)
    fitted_to = _hash_of(given)
    if known is not None and known.fitted_to == fitted_to:
        return replace(known, learned_from=tuple(runs))
    # scipy's solvers are slow to import, and most commands fit nothing.
    from babbitt.detect.surface import fit_surface

    # Rounded, so that a surface read back from JSON is the same to the last bit.
    fitted = np.round(fit_surface(*given), 2)
    return PressureSurface(rpm_knots, oil_c_knots, fitted, tuple(runs), fitted_to)


def _hash_of(given: Iterable[FloatArray]) -> str:
    digest = hashlib.sha256(f"{LEARNER_VERSION}".encode())
    for array in given:
        digest.update(f" {array.shape}".encode() + np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()[:12]
