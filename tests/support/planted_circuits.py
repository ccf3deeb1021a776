"""Invented circuits, cars that lap them, and loggers that record them: the truth about laps."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from babbitt.laps.motion import EARTH_M, GRAVITY_M_S2
from babbitt.model.run import MISSING
from made_runs import make_run

STEP_M = 2.0
HOME = (41.3, -7.2)
"""Latitude and longitude of the invented circuits."""


@dataclass(frozen=True)
class Circuit:
    """Sections in driving order: (length m, turn deg, positive to the left); closed, or a climb."""

    name: str
    sections: tuple[tuple[float, float], ...]
    closed: bool = True

    def line(self):
        """Curvature, corner number (0 for none), x and y at each STEP_M of the lap."""
        sections = np.array(self.sections, float)
        if self.closed:
            sections = _closing(sections)
        ends = np.cumsum(sections[:, 0])
        s = np.arange(0.0, ends[-1], STEP_M)
        at = np.minimum(np.searchsorted(ends, s, side="right"), len(sections) - 1)
        bend = np.radians(sections[at, 1]) / sections[at, 0]
        numbers = np.cumsum(sections[:, 1] != 0) * (sections[:, 1] != 0)
        heading = np.cumsum(bend) * STEP_M
        return (
            bend,
            numbers[at],
            np.cumsum(np.cos(heading)) * STEP_M,
            np.cumsum(np.sin(heading)) * STEP_M,
        )


def _closing(sections):
    """Lengthen straights as little as closes the line."""
    heading, x, ways = 0.0, np.zeros(2), []
    for length, turn in sections:
        half = np.radians(turn) / 2
        x += (
            length
            * np.sinc(half / np.pi)
            * np.array([np.cos(heading + half), np.sin(heading + half)])
        )
        ways.append([np.cos(heading), np.sin(heading)] if turn == 0 else [0.0, 0.0])
        heading += 2 * half
    sections = sections.copy()
    give = sections[:, 0] * np.array(ways).T  # in proportion to their length
    sections[:, 0] *= 1.0 + np.linalg.pinv(give) @ -x
    assert sections[:, 0].min() > 15.0, sections
    return sections


_CHICANE = ((45.0, 55.0), (20.0, 0.0), (45.0, -55.0))
_HALF = (
    (300.0, 0.0),
    (40.0, 90.0),
    (180.0, 0.0),
    (35.0, -60.0),
    (90.0, 0.0),
    (60.0, 150.0),
    (200.0, 0.0),
)
CIRCUITS = (
    Circuit(
        "club",
        (
            (520, 0),
            (80, -150),
            (260, 0),
            (75, 60),
            (190, 0),
            (95, -110),
            (420, 0),
            (70, 80),
            (140, 0),
            (170, -140),
            (110, 0),
            (70, -100),
            (150, 0),
        ),
    ),
    Circuit(
        "chicanes",
        (
            (420, 0),
            *_CHICANE,
            (350, 0),
            (70, 100),
            (420, 0),
            *_CHICANE,
            (160, 0),
            (190, 150),
            (300, 0),
            *_CHICANE,
            (240, 0),
            (60, 110),
            (200, 0),
        ),
    ),
    Circuit("oval", ((500, 0), (420, 180), (500, 0), (420, 180))),
    Circuit("eight", ((300, 0), (380, 250), (300, 0), (330, -250))),
    Circuit("street", (*_HALF, (320, 0), *_HALF[1:4], (105, 0), (66, 150), (200, 0))),
    Circuit(
        "hairpins",
        (
            (700, 0),
            (45, 170),
            (250, 0),
            (60, -175),
            (300, 0),
            (50, 175),
            (200, 0),
            (80, 95),
            (350, 0),
            (110, 95),
        ),
    ),
    Circuit("triangle", ((600, 0), (150, 125), (480, 0), (110, 110), (520, 0), (190, 125))),
    Circuit(
        "short",
        (
            (150, 0),
            (35, 110),
            (60, 0),
            (30, -80),
            (70, 0),
            (45, 170),
            (80, 0),
            (30, -60),
            (40, 0),
            (35, 100),
            (60, 0),
            (40, 120),
        ),
    ),
    Circuit(
        "long",
        (
            (1800, 0),
            (120, -90),
            (700, 0),
            (90, 60),
            (250, 0),
            (80, -60),
            (900, 0),
            (90, -90),
            (900, 0),
            (100, 40),
            (160, 0),
            (110, -40),
            (1100, 0),
            (150, -100),
            (500, 0),
            (60, 70),
            (300, 0),
            (70, -70),
            (800, 0),
            (160, -80),
            (500, 0),
        ),
    ),
    Circuit("tri_oval", ((350, 0), (160, 35), (350, 0), (400, 160), (650, 0), (380, 165))),
)
CLIMB = Circuit(
    "hill climb",
    (
        (200, 0),
        (60, 70),
        (150, 0),
        (40, -160),
        (180, 0),
        (50, 150),
        (220, 0),
        (80, -60),
        (120, 0),
        (45, 165),
        (200, 0),
        (70, -90),
        (300, 0),
        (60, 80),
        (250, 0),
        (90, -120),
        (260, 0),
    ),
    closed=False,
)


@dataclass(frozen=True)
class Logged:
    """How a run is logged."""

    hz: float = 20.0
    channels: tuple[str, ...] = ("lateral_g",)
    sign: float = 1.0
    clock: float = 1.0
    gps_gaps: int = 0
    noise_g: float = 0.03
    pit_stop: bool = False


@dataclass(frozen=True)
class Planted:
    """A run and the truth about it.

    Attributes:
        run: as logged.
        time_s: of the log's clock, of each metre driven.
        lap: laps driven, with the share of the present one, at those.
        racing: whether at racing pace.
        corner: number of the corner, 0 for none.
    """

    run: object
    time_s: np.ndarray
    lap: np.ndarray
    racing: np.ndarray
    corner: np.ndarray
    bends: tuple[float, ...] = field(default=())


def drive(circuit: Circuit, laps: int, how: Logged, random: np.random.Generator) -> Planted:
    """Half an out-lap, `laps` at racing pace, half an in-lap; no two laps are quite alike."""
    bend, corner, x, y = circuit.line()
    n = len(bend)
    half = n // 2
    if circuit.closed:
        index = np.concatenate([np.arange(half, n), np.tile(np.arange(n), laps), np.arange(half)])
        racing = np.concatenate([np.zeros(n - half), np.ones(laps * n), np.zeros(half)]) > 0
        lap = np.concatenate(
            [np.arange(half, n) / n - 1, np.arange(laps * n) / n, laps + np.arange(half) / n]
        )
    else:
        index, racing, lap = np.arange(n), np.ones(n, bool), np.arange(n) / n
    number = np.floor(lap).astype(int)
    skill = random.normal(1.0, 0.02, (laps + 2, corner.max() + 1)) + random.normal(
        0, 0.012, (laps + 2, 1)
    )
    k = np.abs(bend[index])
    k = np.convolve(k, np.ones(11) / 11, mode="same")
    grip = np.where(racing, 1.2, 0.45) * skill[number + 1, corner[index]]
    speed = np.minimum(
        np.sqrt(grip * GRAVITY_M_S2 / np.maximum(k, 1e-5)), np.where(racing, 62.0, 28.0)
    )
    speed[0] = 3.0
    speed[-1] = 3.0
    stop = len(speed) // 2 + round(0.3 * n) if how.pit_stop else 0
    if stop:
        speed[stop - 2 : stop + 3] = 0.5
    for i in range(1, len(speed)):
        pull = 0.55 * GRAVITY_M_S2 * max(0.1, 1 - (speed[i - 1] / 75) ** 2)
        speed[i] = min(speed[i], np.sqrt(speed[i - 1] ** 2 + 2 * pull * STEP_M))
    for i in range(len(speed) - 2, -1, -1):
        speed[i] = min(speed[i], np.sqrt(speed[i + 1] ** 2 + 2 * GRAVITY_M_S2 * STEP_M))
    steps = STEP_M / np.maximum(0.5 * (speed[1:] + speed[:-1]), 0.5)
    if stop:
        steps[stop] += 25.0
    time = 12.0 + np.concatenate([[0.0], np.cumsum(steps)])
    end = time[-1] + 12.0
    t = np.arange(0.0, end, 1.0 / how.hz)
    moving = np.interp(t, time, speed, left=0.0, right=0.0)
    if stop:
        moving[(t > time[stop] + 0.5) & (t < time[stop + 1] - 0.5)] = 0.0
    smooth = np.convolve(bend[index], np.ones(9) / 9, mode="same")
    lateral = moving**2 * np.interp(t, time, smooth) / GRAVITY_M_S2
    values = {
        "lateral_g": how.sign * (lateral + random.normal(0, how.noise_g, len(t)) + 0.02),
        "speed": np.maximum(3.6 * moving * 1.015 + random.normal(0, 0.4, len(t)), 0.0),
        "rpm": np.where(moving > 2.0, 3500.0 + 60.0 * moving, 1100.0),
    }
    where = np.interp(t, time, np.arange(len(index)))
    ex, ey = (np.interp(where, np.arange(len(index)), each[index]) for each in (x, y))
    fix = np.minimum(np.floor(t * 10.0) / 10.0, end)
    for each in (ex, ey):
        wander = np.cumsum(random.normal(0, 0.05, len(t))) / np.sqrt(how.hz)
        each += wander + random.normal(0, 0.4, len(t))
    ex, ey = np.interp(fix, t, ex), np.interp(fix, t, ey)
    values["latitude"] = HOME[0] + np.degrees(ey / EARTH_M)
    values["longitude"] = HOME[1] + np.degrees(ex / EARTH_M / np.cos(np.radians(HOME[0])))
    for _ in range(how.gps_gaps):
        begin = random.uniform(20.0, end - 20.0)
        lost = (t > begin) & (t < begin + 8.0)
        values["latitude"][lost] = values["longitude"][lost] = np.nan
    logged = np.interp(t, time, lap)
    values["lap_number"] = np.floor(logged) + 1
    values["distance"] = (logged - np.floor(logged)) * n * STEP_M
    keep = {name: values[name] for name in ("rpm", *how.channels)}
    run = make_run(time_s=t * how.clock, without=tuple({"lateral_g"} - set(keep)), **keep)
    assert all((signal.flags == MISSING).mean() < 0.9 for signal in run.signals.values())
    return Planted(run, time * how.clock, lap, racing, corner[index])
