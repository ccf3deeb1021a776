"""The first season, 2025: what was driven, and what is planted in each log."""

from __future__ import annotations

from demo_logs import dialects
from demo_logs.log import FENNICK, ROLLS, TOLLBAR, Log
from demo_logs.planting import Fault, hot, late_shift, overboost, starved, wrong_downshift
from demo_logs.when import utc

LOGS_2025 = (
    Log(
        "NB-01_2025-04-05_rolls",
        "NB-01",
        utc(2025, 4, 5, 9, 20),
        dialects.PLAIN,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-01_2025-07-12_tollbar",
        "NB-01",
        utc(2025, 7, 12, 12, 50),
        dialects.STAMPED,
        12.5,
        TOLLBAR,
        planted=(
            starved(2, "north_bowl", 2.2, 0.42, 1.6),
            overboost(3, "pit_straight", 3.0, 196.0, 1.0),
        ),
        faults=(Fault("kerb_strike", "lateral_g", "kink", 2, 1.0, value=2.6),),
    ),
    Log(
        "NB-02_2025-04-12_rolls",
        "NB-02",
        utc(2025, 4, 12, 8, 45),
        dialects.NUMBERED,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-02_2025-08-02_tollbar",
        "NB-02",
        utc(2025, 8, 2, 13, 30),
        dialects.GERMAN,
        12.5,
        TOLLBAR,
        planted=(
            hot("oil_overheat", 2, "pit_straight", 145.0, (0.0, 18.0, 30.0, 20.0)),
            late_shift(3, "pit_straight", 3.6, 7800.0, 0.4),
        ),
    ),
    Log(
        "NB-03_2025-03-29_rolls",
        "NB-03",
        utc(2025, 3, 29, 9, 5),
        dialects.GERMAN,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-03_2025-06-14_tollbar",
        "NB-03",
        utc(2025, 6, 14, 11, 25),
        dialects.PLAIN,
        12.5,
        TOLLBAR,
        planted=(
            wrong_downshift(1, "far_straight", 6.6, 8640.0, 0.48),
            wrong_downshift(3, "far_straight", 6.6, 8560.0, 0.40),
        ),
        faults=(Fault("spike", "rpm", "pit_straight", 2, 5.0, value=13200.0),),
    ),
    Log(
        "NB-03_2025-09-06_rolls",
        "NB-03",
        utc(2025, 9, 6, 8, 55),
        dialects.PLAIN,
        12.5,
        ROLLS,
    ),
    Log(
        "NB-03_2025-10-04_fennick",
        "NB-03",
        utc(2025, 10, 4, 10, 15),
        dialects.NUMBERED,
        12.5,
        FENNICK,
        planted=(late_shift(2, "descent", 6.0, 7740.0, 0.3),),
    ),
)
