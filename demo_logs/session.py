"""One session without noise: engine off, cranking, idle, the drive, idle, engine off."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from demo_logs.car import (
    CLUTCH_RPM,
    STEP_S,
    TOP_SPEED_M_S,
    TOP_SPEED_RPM,
    Drive,
    FloatArray,
    Passage,
    drive,
    smoothed,
)
from demo_logs.circuits import CIRCUITS
from demo_logs.engine import (
    COOLANT_LAG_S,
    CRANKING_RPM,
    IDLE_RPM,
    OIL_LAG_S,
    boost_kpa,
    lagged,
    oil_pressure_kpa,
)

OFF_S = 3.4
CRANKING_S = 1.1
FLARE_RPM = 1600.0
FLARE_S = 1.6
STOPPING_S = 0.7
STOPPED_LAG_S = 1.1  # oil pressure after the engine has stopped
BUILD_UP_S = 1.2  # oil pressure after the first firing
RPM_LAG_S = 0.14
IDLING_OIL_C = 90.0
IDLING_COOLANT_C = 86.0

ROLLS_RPM = (2600.0, 3300.0, 4000.0, 4700.0, 5400.0, 6100.0, 6800.0, 7350.0)
ROLLS_STEP_S = 3.9  # of which ROLLS_CHANGE_S to get there
ROLLS_CHANGE_S = 0.6
ROLLS_SPIN_UP_S = 4.0
ROLLS_SPIN_DOWN_S = 6.0
ROLLS_GEAR = 5
ROLLS_OIL_LAG_S = 400.0


@dataclass(frozen=True)
class SessionPlan:
    """What is driven, and in what state the engine is.

    Attributes:
        circuit: a name of CIRCUITS, or "rolls": constant speeds on the rolling road.
        laps: at racing pace; on the rolls, climbs through ROLLS_RPM.
        idle_s: before and after the drive.
        after_s: logged after the engine has stopped.
        oil_c: oil temperature at the start, and where it settles at racing pace, °C.
        coolant_c: the same of the coolant.
        pressure_scale: oil pressure over that of the engine as freshly built.
    """

    circuit: str
    laps: int
    idle_s: float = 9.0
    after_s: float = 5.0
    oil_c: tuple[float, float] = (84.0, 116.0)
    coolant_c: tuple[float, float] = (78.0, 92.0)
    pressure_scale: float = 1.0


@dataclass
class Trace:
    """The truth of one session on a grid of STEP_S; planted shapes alter its arrays in place.

    Attributes:
        channels: channel -> values in its canonical unit.
        passages: idle, the sections of the drive, cooling and stopped; times from the log's start.
        fired_s: when the engine fires.
        stopped_s: when the ignition is cut.
        pressure_scale: as in the plan.
        sample_s: step of the logger that records the session.
        oil_factor: share of the oil pressure that reaches the gallery.
    """

    channels: dict[str, FloatArray]
    passages: tuple[Passage, ...]
    fired_s: float
    stopped_s: float
    pressure_scale: float
    sample_s: float
    oil_factor: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        self.oil_factor = np.ones_like(self.channels["rpm"])

    @property
    def time_s(self) -> FloatArray:
        """The grid, s from the log's start."""
        return STEP_S * np.arange(len(self.channels["rpm"]), dtype=np.float64)

    def passage(self, section: str, lap: int) -> Passage:
        """The time in which `section` was driven in `lap`."""
        return next(p for p in self.passages if (p.section, p.lap) == (section, lap))

    def expected_kpa(self) -> FloatArray:
        """Oil pressure of the freshly built engine at this speed and oil temperature, kPa."""
        return oil_pressure_kpa(self.channels["rpm"], self.channels["oil_temperature"])


def make_trace(plan: SessionPlan, sample_s: float, random: np.random.Generator) -> Trace:
    """Drive the session; what follows from engine speed is left to `add_pressures`."""
    rolls = plan.circuit == "rolls"
    stint = _rolls(plan.laps) if rolls else drive(CIRCUITS[plan.circuit], plan.laps, random)
    fired = OFF_S + CRANKING_S
    begin = fired + plan.idle_s
    end = begin + len(stint.rpm) * STEP_S
    stopped = end + plan.idle_s
    time = np.arange(0.0, stopped + STOPPING_S + plan.after_s, STEP_S)
    first = round(begin / STEP_S)

    def placed(values: FloatArray) -> FloatArray:
        whole = np.zeros_like(time)
        whole[first : first + len(values)] = values
        return whole

    load = placed(stint.racing)
    running = (time >= fired) & (time < stopped)
    oil_lag = ROLLS_OIL_LAG_S if rolls else OIL_LAG_S
    rpm = np.maximum(_unloaded_rpm(time, fired, stopped), placed(stint.rpm))
    channels = {
        "rpm": smoothed(rpm, round(RPM_LAG_S / STEP_S)),
        "lateral_g": placed(stint.lateral_g),
        "longitudinal_g": placed(stint.longitudinal_g),
        "speed": placed(stint.speed_km_h),
        "gear": placed(stint.gear),
        "throttle": 100.0 * placed(stint.throttle),
        "oil_temperature": _temperature(plan.oil_c, IDLING_OIL_C, load, running, oil_lag),
        "coolant_temperature": _temperature(
            plan.coolant_c, IDLING_COOLANT_C, load, running, COOLANT_LAG_S
        ),
    }
    passages = (
        Passage(0, "idle", fired, begin),
        *(Passage(p.lap, p.section, p.start_s + begin, p.end_s + begin) for p in stint.passages),
        Passage(0, "cooling", end, stopped),
        Passage(0, "stopped", stopped, float(time[-1])),
    )
    return Trace(channels, passages, fired, stopped, plan.pressure_scale, sample_s)


def add_boost(trace: Trace) -> None:
    """Add boost: what follows from throttle and engine speed; none while the engine stands."""
    channels = trace.channels
    made = boost_kpa(channels["throttle"] / 100.0, channels["rpm"])
    time = trace.time_s
    breathing = (time >= trace.fired_s) & (time < trace.stopped_s)
    channels["boost"] = lagged(np.where(breathing, made, 0.0), 0.15, 0.0)


def add_oil_pressure(trace: Trace) -> None:
    """Add oil pressure: expected x scale x factor, building up at the start, dying at the stop."""
    time = trace.time_s
    held = trace.expected_kpa() * trace.pressure_scale * trace.oil_factor
    held *= np.clip((time - trace.fired_s) / BUILD_UP_S, 0.15, 1.0)
    last = held[round(trace.stopped_s / STEP_S)]
    stopped = time > trace.stopped_s
    dying = last * np.exp(-np.maximum(time - trace.stopped_s, 0.0) / STOPPED_LAG_S)
    trace.channels["oil_pressure"] = np.where(stopped, dying, held)


def _unloaded_rpm(time: FloatArray, fired: float, stopped: float) -> FloatArray:
    """Engine speed out of gear: off, cranking, flare, idle, off."""
    knots = [
        (0.0, 0.0),
        (OFF_S, 0.0),
        (OFF_S + 0.1, CRANKING_RPM),
        (fired, CRANKING_RPM),
        (fired + 0.4, FLARE_RPM),
        (fired + FLARE_S, IDLE_RPM),
        (stopped, IDLE_RPM),
        (stopped + STOPPING_S, 0.0),
    ]
    at, rpm = zip(*knots, strict=True)
    unloaded: FloatArray = np.interp(time, at, rpm)
    return unloaded


def _temperature(
    start_and_raced_c: tuple[float, float],
    idling_c: float,
    load: FloatArray,
    running: npt.NDArray[np.bool_],
    lag_s: float,
) -> FloatArray:
    """First-order approach to where the load takes it; held while the engine stands."""
    start, raced = start_and_raced_c
    target = np.where(load > 0.5, raced, idling_c)
    warm = np.full(len(load), start)
    warm[running] = lagged(target[running], lag_s, start)
    warm[np.flatnonzero(running)[-1] :] = warm[running][-1]
    return warm


def _rolls(climbs: int) -> Drive:
    """Climb through ROLLS_RPM `climbs` times at part throttle, straight ahead."""
    speeds = np.array(ROLLS_RPM * climbs)
    reached = ROLLS_SPIN_UP_S + np.arange(len(speeds)) * ROLLS_STEP_S
    left = reached + ROLLS_STEP_S - ROLLS_CHANGE_S
    end = float(left[-1]) + ROLLS_SPIN_DOWN_S
    time = np.arange(0.0, end, STEP_S)
    at = np.concatenate([[0.0], np.column_stack([reached, left]).ravel(), [end]])
    driven_rpm = np.interp(time, at, np.concatenate([[0.0], np.repeat(speeds, 2), [0.0]]))
    still = np.zeros_like(time)
    return Drive(
        rpm=np.maximum(driven_rpm, CLUTCH_RPM),
        speed_km_h=3.6 * driven_rpm * TOP_SPEED_M_S[ROLLS_GEAR - 1] / TOP_SPEED_RPM,
        lateral_g=still,
        longitudinal_g=still,
        throttle=0.28 + 0.14 * driven_rpm / TOP_SPEED_RPM,
        gear=np.full_like(time, ROLLS_GEAR),
        racing=np.ones_like(time),
        passages=(Passage(1, "rolls", 0.0, end),),
    )
