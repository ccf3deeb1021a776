"""The invented season: engines, refreshes, logs, and what is planted in each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from demo_logs import dialects
from demo_logs.dialects import Dialect
from demo_logs.planting import (
    Fault,
    Lookalike,
    Planted,
    Shape,
    cold_boost,
    cold_revs,
    hot,
    late_shift,
    low_pressure,
    overboost,
    starved,
    wrong_downshift,
)
from demo_logs.session import SessionPlan

TEAM = "Nettlebrook Motorsport"


@dataclass(frozen=True)
class Engine:
    """An engine of the team.

    Attributes:
        engine_id: its spec is specs/<engine_id>.toml.
        built_at: UTC.
        refreshes: (UTC, note) of each.
    """

    engine_id: str
    built_at: datetime
    refreshes: tuple[tuple[datetime, str], ...] = ()


@dataclass(frozen=True)
class Log:
    """One log of the season.

    Attributes:
        name: file name without ".csv".
        engine_id: the engine that was in the car.
        started: instant of the first row.
        dialect: how it is written.
        rate_hz: rows a second.
        session: what was driven.
        planted: harmful events.
        lookalikes: decoys that the engine did feel.
        faults: decoys that it did not.
        not_watched: kinds of harm that this log cannot show.
    """

    name: str
    engine_id: str
    started: datetime
    dialect: Dialect
    rate_hz: float
    session: SessionPlan
    planted: tuple[Planted, ...] = ()
    lookalikes: tuple[Lookalike, ...] = ()
    faults: tuple[Fault, ...] = ()
    not_watched: tuple[str, ...] = ()


def _utc(month: int, day: int, hour: int, minute: int = 0, second: int = 0) -> datetime:
    return datetime(2026, month, day, hour, minute, second, tzinfo=UTC)


ENGINES = (
    Engine(
        "NB-01",
        _utc(3, 2, 9),
        ((_utc(6, 29, 15), "new rod bearings and rings, crank polished"),),
    ),
    Engine(
        "NB-02",
        _utc(3, 9, 9),
        ((_utc(7, 20, 15), "new main and rod bearings, head skimmed"),),
    ),
    Engine("NB-03", _utc(3, 16, 9)),
)

ROLLS = SessionPlan("rolls", 9, idle_s=8.0, oil_c=(77.0, 185.0), coolant_c=(80.0, 90.0))
TOLLBAR = SessionPlan("Tollbar Bowl", 3)
FENNICK = SessionPlan("Fennick Hill", 2)

LOGS = (
    Log(
        "NB-01_2026-03-14_rolls",
        "NB-01",
        _utc(3, 14, 10, 5),
        dialects.PLAIN,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-01_2026-04-11_tollbar",
        "NB-01",
        _utc(4, 11, 12, 30),
        dialects.GERMAN,
        20.0,
        TOLLBAR,
        planted=(
            starved(1, "north_bowl", 2.4, 0.40, 1.4),
            starved(2, "south_bowl", 2.0, 0.36, 2.1),
            starved(3, "north_bowl", 1.8, 0.38, 1.8),
        ),
        faults=(
            Fault("kerb_strike", "lateral_g", "kink", 1, 0.9, value=2.6),
            Fault("kerb_strike", "lateral_g", "kink", 2, 1.0, value=2.8),
            Fault("pressure_dip", "oil_pressure", "pit_straight", 2, 6.0, value=95.0),
        ),
    ),
    Log(
        "NB-01_2026-05-23_tollbar_night",
        "NB-01",
        _utc(5, 23, 21, 57, 20),
        dialects.CLOCK,
        12.5,
        TOLLBAR,
        planted=(
            starved(1, "south_bowl", 1.8, 0.36, 2.0),
            starved(2, "north_bowl", 1.8, 0.33, 2.4),
            wrong_downshift(2, "far_straight", 6.6, 8230.0, 0.32),
            starved(3, "north_bowl", 1.6, 0.35, 2.6),
            starved(3, "south_bowl", 1.8, 0.38, 1.6),
        ),
        faults=(
            Fault("spike", "rpm", "pit_straight", 3, 5.0, value=14900.0),
            Fault("unplugged", "oil_pressure", "pit_straight", 2, 4.0, hold_s=2.4),
        ),
    ),
    Log(
        "NB-01_2026-07-04_rolls",
        "NB-01",
        _utc(7, 4, 8, 15),
        dialects.STAMPED,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-01_2026-08-15_tollbar",
        "NB-01",
        _utc(8, 15, 13, 10),
        dialects.GERMAN,
        20.0,
        TOLLBAR,
        planted=(
            starved(1, "north_bowl", 1.8, 0.33, 3.0),
            starved(1, "south_bowl", 1.8, 0.35, 2.6),
            starved(2, "north_bowl", 1.5, 0.30, 3.6),
            hot("coolant_overheat", 2, "far_straight", 117.0, (0.0, 26.0, 12.0, 24.0)),
            starved(2, "south_bowl", 1.6, 0.32, 3.0),
            overboost(3, "pit_straight", 3.0, 206.0, 1.5),
            starved(3, "north_bowl", 1.5, 0.28, 3.8),
        ),
        faults=(Fault("kerb_strike", "lateral_g", "return_kink", 2, 1.2, value=-2.7),),
    ),
    Log(
        "NB-01_2026-09-19_tollbar",
        "NB-01",
        _utc(9, 19, 11, 45, 30),
        dialects.MIXED_RATES,
        20.0,
        TOLLBAR,
        planted=(
            late_shift(1, "pit_straight", 4.2, 7850.0, 0.4),
            starved(1, "north_bowl", 1.5, 0.28, 4.0),
            starved(1, "south_bowl", 1.6, 0.32, 3.2),
            hot("oil_overheat", 2, "pit_straight", 144.0, (0.0, 18.0, 8.0, 20.0)),
            late_shift(3, "pit_straight", 3.4, 7900.0, 0.5),
            starved(3, "north_bowl", 1.4, 0.26, 4.2),
            starved(3, "south_bowl", 1.5, 0.30, 3.4),
        ),
        faults=(Fault("blanks", "oil_pressure", "north_bowl", 3, 3.0, hold_s=0.1),),
    ),
    Log(
        "NB-02_2026-03-21_rolls",
        "NB-02",
        _utc(3, 21, 9, 40),
        dialects.MIXED_RATES,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-02_2026-05-10_fennick",
        "NB-02",
        _utc(5, 10, 8, 20),
        dialects.STAMPED,
        20.0,
        SessionPlan("Fennick Hill", 2, idle_s=12.0, oil_c=(46.0, 116.0), coolant_c=(44.0, 92.0)),
        planted=(
            cold_revs("descent", 5.0, 5800.0, 3.5),
            cold_boost("descent", 14.0, 112.0, 4.0),
            late_shift(1, "descent", 6.0, 7820.0, 0.4),
            overboost(2, "pit_straight", 5.0, 204.0, 1.2),
            starved(2, "long_right", 1.8, 0.38, 1.2),
        ),
        faults=(
            Fault("unplugged", "oil_pressure", "descent", 2, 3.0, hold_s=3.5),
            Fault("unplugged", "oil_pressure", "long_right", 1, 1.5, hold_s=2.0),
        ),
    ),
    Log(
        "NB-02_2026-07-25_rolls",
        "NB-02",
        _utc(7, 25, 9, 10),
        dialects.GERMAN,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-02_2026-08-22_fennick",
        "NB-02",
        _utc(8, 22, 14, 25),
        dialects.PLAIN,
        20.0,
        SessionPlan("Fennick Hill", 2, idle_s=14.0, oil_c=(108.0, 123.0), pressure_scale=0.97),
        planted=(low_pressure(2, "descent", 3.2, 0.36, 1.5),),
        lookalikes=(
            Lookalike(
                "hot_idle", Shape("oil_temperature", "cooling", 0, 0.0, 124.0, 3.0, 8.0, 2.0)
            ),
            Lookalike("limiter", Shape("rpm", "pit_straight", 2, 8.0, 7470.0, 0.3, 1.2, 0.3)),
        ),
    ),
    Log(
        "NB-02_2026-09-12_tollbar",
        "NB-02",
        _utc(9, 12, 12, 5),
        dialects.NUMBERED,
        20.0,
        SessionPlan("Tollbar Bowl", 3, oil_c=(90.0, 120.0), pressure_scale=0.95),
        planted=(
            low_pressure(1, "pit_straight", 4.5, 0.34, 2.2),
            low_pressure(2, "far_straight", 2.6, 0.36, 1.8),
            hot("coolant_overheat", 2, "link", 115.0, (0.0, 20.0, 40.0, 10.0)),
        ),
        faults=(Fault("pause", "", "far_straight", 3, 1.0, hold_s=40.0),),
    ),
    Log(
        "NB-02_2026-10-10_fennick",
        "NB-02",
        _utc(10, 10, 13, 50),
        dialects.PLAIN,
        20.0,
        SessionPlan("Fennick Hill", 2, after_s=60.0, oil_c=(92.0, 121.0), pressure_scale=0.93),
        planted=(
            low_pressure(1, "descent", 3.0, 0.34, 2.0),
            low_pressure(2, "pit_straight", 4.0, 0.32, 2.6),
            low_pressure(2, "descent", 3.0, 0.35, 1.8),
            hot("coolant_overheat", 0, "stopped", 116.0, (3.0, 35.0, 15.0, 60.0)),
        ),
        faults=(Fault("spike", "boost", "climb", 2, 3.0, value=395.0),),
    ),
    Log(
        "NB-03_2026-04-04_rolls",
        "NB-03",
        _utc(4, 4, 10, 12),
        dialects.NUMBERED,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-03_2026-06-06_fennick",
        "NB-03",
        _utc(6, 6, 12, 40),
        dialects.PLAIN,
        20.0,
        SessionPlan("Fennick Hill", 2, after_s=40.0),
        planted=(late_shift(1, "descent", 6.0, 7780.0, 0.3),),
        lookalikes=(
            Lookalike("priming", Shape("rpm", "idle", 0, 0.6, 2900.0, 0.3, 0.5, 0.4)),
            Lookalike(
                "short_overboost", Shape("boost", "pit_straight", 2, 6.0, 197.0, 0.1, 0.0, 0.1)
            ),
            Lookalike(
                "warm_soak", Shape("coolant_temperature", "stopped", 0, 2.0, 102.0, 25.0, 5.0, 5.0)
            ),
        ),
        faults=(
            Fault("stuck", "oil_pressure", "last", 0, 3.0, hold_s=12.0),
            Fault("blanks", "oil_pressure", "long_right", 1, 1.0, hold_s=3.0),
            Fault("clock_jump", "", "ridge", 2, 2.0, hold_s=37.0),
            Fault("spike", "rpm", "meadow", 2, 2.0, value=11800.0),
        ),
    ),
    Log(
        "NB-03_2026-08-29_tollbar",
        "NB-03",
        _utc(8, 29, 9, 55),
        dialects.STAMPED,
        20.0,
        TOLLBAR,
        planted=(overboost(2, "pit_straight", 4.0, 200.0, 0.8),),
        faults=(
            Fault("kerb_strike", "lateral_g", "kink", 3, 1.0, value=2.5),
            Fault("pressure_dip", "oil_pressure", "south_bowl", 2, 5.0, value=60.0),
            Fault("unplugged", "boost", "far_straight", 3, 2.0, hold_s=3.0, value=395.0),
            Fault("unplugged", "coolant_temperature", "link", 1, 0.0, hold_s=7.0, value=150.0),
        ),
    ),
    Log(
        "NB-03_2026-10-03_fennick",
        "NB-03",
        _utc(10, 3, 8, 35),
        dialects.SLOW_PRESSURE,
        20.0,
        FENNICK,
        not_watched=("oil_starvation", "low_oil_pressure"),
    ),
)
