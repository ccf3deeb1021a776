"""What is planted in a session: harmful events, and decoys that only look like harm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from demo_logs.session import Trace, add_boost, add_oil_pressure


@dataclass(frozen=True)
class Shape:
    """A trapezoid laid over a channel: straight up to the peak, along it, and back.

    Attributes:
        channel: a channel, or "oil_factor": share of the oil pressure that reaches the gallery.
        section: in which it begins.
        lap: of that section.
        after_s: from the start of the section to the start of the shape.
        peak: value along the top, in the unit of the channel.
        rise_s: until the peak is reached.
        hold_s: along the peak.
        fall_s: back to what the channel would have been.
    """

    channel: str
    section: str
    lap: int
    after_s: float
    peak: float
    rise_s: float
    hold_s: float
    fall_s: float

    def knots(self, trace: Trace) -> tuple[float, ...]:
        """Corners of the shape, s from the start of the log, at instants that the logger samples.

        Between samples a corner would be cut off, and the log could not tell the planted dose.
        """
        start = trace.passage(self.section, self.lap).start_s + self.after_s
        peak = start + self.rise_s
        times = (start, peak, peak + self.hold_s, peak + self.hold_s + self.fall_s)
        return tuple(trace.sample_s * round(time / trace.sample_s) for time in times)

    def lay(self, trace: Trace) -> None:
        """Put the shape into the trace."""
        values = trace.oil_factor if self.channel == "oil_factor" else trace.channels[self.channel]
        time, knots = trace.time_s, self.knots(trace)
        inside = (time >= knots[0]) & (time <= knots[-1])
        first, last = values[inside][[0, -1]]
        values[inside] = np.interp(time[inside], knots, [first, self.peak, self.peak, last])


@dataclass(frozen=True)
class Planted:
    """A harmful event.

    Attributes:
        kind: of harm.
        shape: that does it.
        cause: over_rev: on_power or driven; heat_soak where the engine has stopped.
    """

    kind: str
    shape: Shape
    cause: str | None = None


@dataclass(frozen=True)
class Lookalike:
    """A true course of a channel that stays inside the limits, or beyond them too briefly."""

    sort: str
    shape: Shape


FaultSort = Literal[
    "spike", "pressure_dip", "kerb_strike", "unplugged", "stuck", "blanks", "pause", "clock_jump"
]


@dataclass(frozen=True)
class Fault:
    """Something wrong in the log that the engine never felt.

    Attributes:
        sort: spike, pressure_dip and kerb_strike put `value` into a single sample, unplugged into
            every sample for a while; stuck repeats the last value; blanks leave cells empty;
            pause leaves rows out; clock_jump moves the clock forward.
        channel: concerned; "" for pause and clock_jump.
        section: in which it begins.
        lap: of that section.
        after_s: from the start of the section.
        hold_s: how long it lasts; of clock_jump, how far the clock moves.
        value: see `sort`.
    """

    sort: FaultSort
    channel: str
    section: str
    lap: int
    after_s: float
    hold_s: float = 0.0
    value: float = 0.0

    def window(self, trace: Trace) -> tuple[float, float]:
        """Start and end, s from the start of the log, before any clock jump."""
        start = trace.passage(self.section, self.lap).start_s + self.after_s
        return start, start if self.sort == "clock_jump" else start + self.hold_s


def plant(trace: Trace, items: tuple[Planted | Lookalike, ...]) -> None:
    """Lay every shape into the trace, and add the pressures that follow from it."""
    for item in items:
        if item.shape.channel in {"rpm", "oil_temperature", "coolant_temperature", "oil_factor"}:
            item.shape.lay(trace)
    add_boost(trace)
    for item in items:
        if item.shape.channel == "boost":
            item.shape.lay(trace)
    add_oil_pressure(trace)


def starved(lap: int, section: str, after_s: float, share: float, hold_s: float) -> Planted:
    """Oil runs away from the pickup in a corner: `share` of the pressure is left."""
    return Planted(
        "oil_starvation", Shape("oil_factor", section, lap, after_s, share, 0.4, hold_s, 0.3)
    )


def low_pressure(lap: int, section: str, after_s: float, share: float, hold_s: float) -> Planted:
    """Pressure falls away on a straight."""
    return Planted(
        "low_oil_pressure", Shape("oil_factor", section, lap, after_s, share, 0.3, hold_s, 0.4)
    )


def late_shift(lap: int, section: str, after_s: float, rpm: float, hold_s: float) -> Planted:
    """The driver is late with an upshift."""
    return Planted(
        "over_rev", Shape("rpm", section, lap, after_s, rpm, 0.45, hold_s, 0.25), "on_power"
    )


def wrong_downshift(lap: int, section: str, after_s: float, rpm: float, hold_s: float) -> Planted:
    """A gear too low while braking: the wheels drive the engine."""
    return Planted(
        "over_rev", Shape("rpm", section, lap, after_s, rpm, 0.22, hold_s, 0.5), "driven"
    )


def overboost(lap: int, section: str, after_s: float, kpa: float, hold_s: float) -> Planted:
    """Boost control opens too late."""
    return Planted("overboost", Shape("boost", section, lap, after_s, kpa, 0.4, hold_s, 0.3))


def hot(kind: str, lap: int, section: str, peak_c: float, times_s: tuple[float, ...]) -> Planted:
    """Temperature climbs to `peak_c`; `times_s`: after, rise, hold, fall."""
    after, rise, hold, fall = times_s
    channel = {"oil_overheat": "oil_temperature", "coolant_overheat": "coolant_temperature"}[kind]
    cause = "heat_soak" if section == "stopped" else None
    return Planted(kind, Shape(channel, section, lap, after, peak_c, rise, hold, fall), cause)


def cold_revs(section: str, after_s: float, rpm: float, hold_s: float) -> Planted:
    """The engine is revved on the way out, the oil still cold."""
    return Planted("cold_load", Shape("rpm", section, 0, after_s, rpm, 0.6, hold_s, 0.6))


def cold_boost(section: str, after_s: float, kpa: float, hold_s: float) -> Planted:
    """The engine is loaded on the way out, the oil still cold."""
    return Planted("cold_load", Shape("boost", section, 0, after_s, kpa, 0.5, hold_s, 0.5))
