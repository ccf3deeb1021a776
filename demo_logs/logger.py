"""What a logger makes of a session: samples with noise and planned faults."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_logs.car import STEP_S, FloatArray
from demo_logs.planting import Fault, Planted
from demo_logs.session import Trace
from demo_logs.truth import Clock

# Standard deviation of the noise: (share of the value, fixed part in the channel's unit).
NOISE = {
    "rpm": (0.0, 5.0),
    "oil_pressure": (0.004, 0.6),
    "oil_temperature": (0.0, 0.03),
    "coolant_temperature": (0.0, 0.03),
    "boost": (0.0, 0.4),
    "lateral_g": (0.0, 0.012),
    "longitudinal_g": (0.0, 0.012),
    "speed": (0.0, 0.05),
    "throttle": (0.0, 0.1),
    "gear": (0.0, 0.0),
}
STILL_RPM = 50.0  # a crank sensor sees nothing slower
QUIET_S = 4.0  # before and after a planted overheat: a slow crossing must not drown in noise


@dataclass(frozen=True)
class Recording:
    """The rows of one log.

    Attributes:
        stamp_s: the log's clock, from its first row.
        channels: channel -> values in its canonical unit; NaN where a cell is blank.
    """

    stamp_s: FloatArray
    channels: dict[str, FloatArray]


def record(
    trace: Trace,
    rate_hz: float,
    clock: Clock,
    planted: tuple[Planted, ...],
    faults: tuple[Fault, ...],
    random: np.random.Generator,
) -> Recording:
    """Sample the session at `rate_hz`, add noise, then the faults."""
    stride = round(1.0 / (rate_hz * STEP_S))
    time = trace.time_s[::stride]
    channels = {}
    for name in sorted(trace.channels):
        share, fixed = NOISE[name]
        values = trace.channels[name][::stride]
        deviation = share * values + fixed * ~_quiet(time, name, trace, planted)
        channels[name] = values + deviation * random.standard_normal(len(values))
    channels["rpm"] = np.where(trace.channels["rpm"][::stride] > STILL_RPM, channels["rpm"], 0.0)
    channels["speed"] = np.maximum(channels["speed"], 0.0)
    channels["throttle"] = np.clip(channels["throttle"], 0.0, 100.0)
    for fault in faults:
        if fault.channel:
            _spoil(channels[fault.channel], time, fault, trace)
    kept = clock.logged(time)
    return Recording(
        stamp_s=time[kept] + np.where(time[kept] >= clock.jump_at_s, clock.jump_s, 0.0),
        channels={name: values[kept] for name, values in channels.items()},
    )


def _quiet(
    time: FloatArray, channel: str, trace: Trace, planted: tuple[Planted, ...]
) -> npt.NDArray[np.bool_]:
    quiet = np.zeros(len(time), dtype=np.bool_)
    for item in planted:
        if channel == item.shape.channel and channel.endswith("_temperature"):
            start, _, _, end = item.shape.knots(trace)
            quiet |= (time > start - QUIET_S) & (time < end + QUIET_S)
    return quiet


def _spoil(values: FloatArray, time: FloatArray, fault: Fault, trace: Trace) -> None:
    """Put the fault into the samples."""
    start, end = fault.window(trace)
    first = int(np.searchsorted(time, start))
    after = max(int(np.searchsorted(time, end)), first + 1)
    match fault.sort:
        case "blanks":
            values[first:after] = np.nan
        case "stuck":
            values[first:after] = values[first - 1]
        case _:
            values[first:after] = fault.value
