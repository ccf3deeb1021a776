"""The car on a circuit: speed, accelerations, gear and engine speed over time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from demo_logs.circuits import Section

FloatArray = npt.NDArray[np.float64]

STEP_S = 0.002
"""Step of the time grid that stands for the continuous truth, s."""

GRAVITY_M_S2 = 9.80665
TOP_SPEED_M_S = (19.0, 28.0, 37.0, 46.5, 57.0, 69.0)  # of each gear, at TOP_SPEED_RPM
TOP_SPEED_RPM = 7400.0
MASS_KG = 1180.0
POWER_W = 245e3
DRAG_PER_M = 0.45 / MASS_KG  # deceleration by air = DRAG_PER_M * speed²
CONTROL_STEP_S = 0.02
SHIFT_S = 0.12
LEAST_SKILL = 0.94  # share of a corner's lateral acceleration on a poor lap
UNSTEADINESS = 0.004  # standard deviation of speed about the ideal, share
UNSTEADINESS_S = 0.9  # over which it changes
CLUTCH_RPM = 1900.0


@dataclass(frozen=True)
class Pace:
    """How hard the car is driven.

    Attributes:
        corner_share: of the lateral acceleration that a section allows.
        speed_cap_m_s: never faster.
        pull_g: acceleration asked for, where the engine has it, g.
        brake_g: deceleration, g.
        upshift_rpm: the next gear from here, 1/min.
        downshift_rpm: a lower gear below here, 1/min.
    """

    corner_share: float
    speed_cap_m_s: float
    pull_g: float
    brake_g: float
    upshift_rpm: float
    downshift_rpm: float


RACE = Pace(1.0, 90.0, 0.62, 1.1, 7200.0, 4600.0)
GENTLE = Pace(0.33, 31.0, 0.2, 0.35, 4100.0, 2300.0)


@dataclass(frozen=True)
class Passage:
    """One section, driven once; `lap` 0 is the way out, the highest lap the way in."""

    lap: int
    section: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Drive:
    """A stint from standstill to standstill, on a grid of STEP_S; arrays of one shape.

    Attributes:
        rpm: engine speed, 1/min; below CLUTCH_RPM the clutch slips.
        speed_km_h: of the car.
        lateral_g: positive to the left (ISO 8855).
        longitudinal_g: positive forwards.
        throttle: share of full, 0 to 1.
        gear: 1 to 6.
        racing: 1 at racing pace, 0 at gentle pace.
        passages: sections in driving order; times from the start of the stint.
    """

    rpm: FloatArray
    speed_km_h: FloatArray
    lateral_g: FloatArray
    longitudinal_g: FloatArray
    throttle: FloatArray
    gear: FloatArray
    racing: FloatArray
    passages: tuple[Passage, ...]


def drive(circuit: tuple[Section, ...], laps: int, random: np.random.Generator) -> Drive:
    """Drive the second half of an out-lap, `laps` at racing pace, and half an in-lap.

    No two laps are quite alike: `random` decides how well each corner is taken.
    """
    half = len(circuit) // 2
    stint = [(0, section, GENTLE) for section in circuit[half:]]
    stint += [(lap, section, RACE) for lap in range(1, laps + 1) for section in circuit]
    stint += [(laps + 1, section, GENTLE) for section in circuit[:half]]

    lengths = np.array([section.length_m for _, section, _ in stint])
    ends = np.cumsum(lengths)
    distance = np.arange(0.0, ends[-1], 1.0)
    at = np.searchsorted(ends, distance, side="right")
    curvature = smoothed(np.array([part[1].curvature_per_m for part in stint])[at], 25)
    skill = random.uniform(LEAST_SKILL, 1.0, len(stint))
    speed = _speed(stint, at, curvature, skill)
    seconds = np.concatenate([[0.0], np.cumsum(2.0 / np.maximum(speed[1:] + speed[:-1], 0.5))])

    time = np.arange(0.0, seconds[-1], STEP_S)
    racing = np.array([part[2] is RACE for part in stint], dtype=float)[at]
    speed_t = smoothed(np.interp(time, seconds, speed), round(0.1 / STEP_S))
    speed_t *= 1.0 + _unsteadiness(len(time), random)
    pull = smoothed(np.gradient(speed_t, STEP_S), round(0.1 / STEP_S))
    racing_t = np.round(np.interp(time, seconds, racing))
    gear = _gears(speed_t, pull, racing_t)
    passages = tuple(
        Passage(lap, section.name, float(seconds[int(end - length)]), float(seconds[int(end) - 1]))
        for (lap, section, _), end, length in zip(stint, ends, lengths, strict=True)
    )
    return Drive(
        rpm=_engine_speed(speed_t, gear),
        speed_km_h=3.6 * speed_t,
        lateral_g=speed_t**2 * np.interp(time, seconds, curvature) / GRAVITY_M_S2,
        longitudinal_g=pull / GRAVITY_M_S2,
        throttle=_throttle(speed_t, pull),
        gear=gear,
        racing=racing_t,
        passages=passages,
    )


def _speed(
    stint: list[tuple[int, Section, Pace]],
    at: npt.NDArray[np.intp],
    curvature: FloatArray,
    skill: FloatArray,
) -> FloatArray:
    """Highest speed at each metre, m/s: cornering, pulling forwards, braking backwards."""
    grip: FloatArray = np.array(
        [section.corner_g * pace.corner_share for _, section, pace in stint]
    )[at]
    cap = np.array([pace.speed_cap_m_s for _, _, pace in stint])[at]
    pull = np.array([pace.pull_g for _, _, pace in stint])[at] * GRAVITY_M_S2
    brake = np.array([pace.brake_g for _, _, pace in stint])[at] * GRAVITY_M_S2
    bend = np.maximum(np.abs(curvature), 1e-6)
    speed: FloatArray = np.minimum(np.sqrt(grip * GRAVITY_M_S2 / bend), cap)
    speed[0] = speed[-1] = 0.0
    for i in range(1, len(speed)):
        before = max(speed[i - 1], 1.0)
        gain = min(pull[i], POWER_W / (MASS_KG * before)) - DRAG_PER_M * before**2
        speed[i] = min(speed[i], math.sqrt(max(speed[i - 1] ** 2 + 2.0 * gain, 0.0)))
    for i in range(len(speed) - 2, -1, -1):
        speed[i] = min(speed[i], math.sqrt(speed[i + 1] ** 2 + 2.0 * brake[i]))
    return speed


def _unsteadiness(count: int, random: np.random.Generator) -> FloatArray:
    """Share by which the driver's foot strays from the ideal speed."""
    step = round(UNSTEADINESS_S / 2.0 / STEP_S)
    strays = UNSTEADINESS * random.standard_normal(count // step + 2)
    return smoothed(np.repeat(strays, step)[:count], 2 * step)


def _gears(speed: FloatArray, pull: FloatArray, racing: FloatArray) -> FloatArray:
    """Gear at each step, chosen every CONTROL_STEP_S."""
    stride = round(CONTROL_STEP_S / STEP_S)
    gear, chosen, held = 1, [], 0
    for v, a, hard in zip(speed[::stride], pull[::stride], racing[::stride], strict=True):
        pace = RACE if hard else GENTLE
        rpm = TOP_SPEED_RPM * v / TOP_SPEED_M_S[gear - 1]
        held += 1
        if held > 0.4 / CONTROL_STEP_S:
            if rpm > pace.upshift_rpm and a > -1.0 and gear < len(TOP_SPEED_M_S):
                gear, held = gear + 1, 0
            elif rpm < pace.downshift_rpm and gear > 1:
                gear, held = gear - 1, 0
        chosen.append(gear)
    return np.repeat(np.array(chosen, dtype=float), stride)[: len(speed)]


def _engine_speed(speed: FloatArray, gear: FloatArray) -> FloatArray:
    """Engine speed from road speed; a shift takes SHIFT_S."""
    ratio = (TOP_SPEED_RPM / np.array(TOP_SPEED_M_S))[gear.astype(int) - 1]
    return np.maximum(speed * smoothed(ratio, round(SHIFT_S / STEP_S)), CLUTCH_RPM)


def _throttle(speed: FloatArray, pull: FloatArray) -> FloatArray:
    """Share of full throttle that the acceleration asks for; shut when braking."""
    asked = pull + DRAG_PER_M * speed**2 + 0.25
    available = np.minimum(POWER_W / (MASS_KG * np.maximum(speed, 1.0)), 8.0)
    return smoothed(np.clip(asked / available, 0.0, 1.0), round(0.16 / STEP_S))


def smoothed(values: FloatArray, width: int) -> FloatArray:
    """Centred moving mean over `width` samples, ends held."""
    left, right = width // 2, width - 1 - width // 2
    padded = np.concatenate([np.full(left, values[0]), values, np.full(right, values[-1])])
    total = np.cumsum(np.concatenate([[0.0], padded]))
    mean: FloatArray = (total[width:] - total[:-width]) / width
    return mean
