"""The tracked parts of the invented team, and where each of them was."""

from __future__ import annotations

from demo_logs.when import utc
from demo_logs.workshop import Batch, Stint, Work

ONLY = ("",)
CYLINDERS = ("1", "2", "3", "4")
JOURNALS = ("1", "2", "3", "4", "5")
TURBINE = ("turbine",)

BATCHES = (
    Batch(
        "CR-1",
        "crankshaft",
        ONLY,
        (Stint("NB-01", 1, 2), Stint("NB-01", 3, 3)),
        (
            Work(
                "crank shop",
                "look for cracks, polish rod journal 2",
                utc(2026, 6, 17, 8),
                utc(2026, 6, 24, 16),
                utc(2026, 6, 25, 14),
                "no cracks; rod journal 2 polished, 0.004 mm taken off",
            ),
        ),
    ),
    Batch(
        "CR-2",
        "crankshaft",
        ONLY,
        (Stint("NB-02", 1, 2),),
        (
            Work(
                "crank shop",
                "check run-out and look for cracks, polish main journals 3 and 4",
                utc(2026, 10, 12, 8),
                utc(2026, 12, 11, 16),
            ),
        ),
    ),
    Batch("CR-3", "crankshaft", ONLY, (Stint("NB-03", 1, 3),), note="bought used, 2024"),
    Batch("CR-4", "crankshaft", ONLY, (Stint("NB-02", 3, 3),), note="the spare until July 2026"),
    Batch(
        "HD-1",
        "cylinder_head",
        ONLY,
        (Stint("NB-01", 1, 1), Stint("NB-02", 2, 2), Stint("NB-02", 3, 3)),
        (
            Work(
                "head shop",
                "cut the seats of cylinder 3, check the others",
                utc(2025, 11, 18, 8),
                utc(2026, 2, 20, 16),
                utc(2026, 3, 4, 11),
                "seats of cylinder 3 cut on the axis of their guides; leakage even",
            ),
            Work(
                "head shop",
                "skim the deck",
                utc(2026, 7, 8, 8),
                utc(2026, 7, 15, 16),
                utc(2026, 7, 16, 9),
                "0.10 mm taken off, flat within 0.01 mm, hardness as new",
            ),
        ),
        note="from NB-01 to NB-02 in March 2026, in exchange for HD-2",
    ),
    Batch(
        "HD-2",
        "cylinder_head",
        ONLY,
        (Stint("NB-02", 1, 1), Stint("NB-01", 2, 3)),
        note="from NB-02 to NB-01 in March 2026, in exchange for HD-1",
    ),
    Batch("HD-3", "cylinder_head", ONLY, (Stint("NB-03", 1, 3),)),
    Batch("RD1", "rod", CYLINDERS, (Stint("NB-01", 1, 3),)),
    Batch("RD2", "rod", CYLINDERS, (Stint("NB-02", 1, 3),)),
    Batch("RD3", "rod", CYLINDERS, (Stint("NB-03", 1, 3),)),
    Batch("RB1", "rod_bearing", CYLINDERS, (Stint("NB-01", 1, 1),)),
    Batch("RB2", "rod_bearing", CYLINDERS, (Stint("NB-02", 1, 1),)),
    Batch("RB3", "rod_bearing", CYLINDERS, (Stint("NB-03", 1, 2),)),
    Batch("RB4", "rod_bearing", CYLINDERS, (Stint("NB-01", 2, 2),)),
    Batch("RB5", "rod_bearing", CYLINDERS, (Stint("NB-02", 2, 2),)),
    Batch("RB6", "rod_bearing", CYLINDERS, (Stint("NB-03", 3, 3),)),
    Batch("RB7", "rod_bearing", CYLINDERS, (Stint("NB-01", 3, 3),)),
    Batch("RB8", "rod_bearing", CYLINDERS, (Stint("NB-02", 3, 3),)),
    Batch("MB1", "main_bearing", JOURNALS, (Stint("NB-01", 1, 2),)),
    Batch("MB2", "main_bearing", JOURNALS, (Stint("NB-02", 1, 2),)),
    Batch("MB3", "main_bearing", JOURNALS, (Stint("NB-03", 1, 2),)),
    Batch("MB4", "main_bearing", JOURNALS, (Stint("NB-03", 3, 3),)),
    Batch("MB5", "main_bearing", JOURNALS, (Stint("NB-01", 3, 3),)),
    Batch("MB6", "main_bearing", JOURNALS, (Stint("NB-02", 3, 3),)),
    Batch("HG1", "head_gasket", ONLY, (Stint("NB-01", 1, 1),)),
    Batch("HG2", "head_gasket", ONLY, (Stint("NB-02", 1, 1),)),
    Batch("HG3", "head_gasket", ONLY, (Stint("NB-03", 1, 1),)),
    Batch("HG4", "head_gasket", ONLY, (Stint("NB-03", 2, 2),)),
    Batch("HG5", "head_gasket", ONLY, (Stint("NB-01", 2, 2),)),
    Batch("HG6", "head_gasket", ONLY, (Stint("NB-02", 2, 2),)),
    Batch("HG7", "head_gasket", ONLY, (Stint("NB-03", 3, 3),)),
    Batch("HG8", "head_gasket", ONLY, (Stint("NB-01", 3, 3),)),
    Batch("HG9", "head_gasket", ONLY, (Stint("NB-02", 3, 3),), note="0.1 mm thicker"),
    Batch("TB-1", "turbo_bearing", TURBINE, (Stint("NB-01", 1, 3),)),
    Batch("TB-2", "turbo_bearing", TURBINE, (Stint("NB-02", 1, 3),)),
    Batch("TB-3", "turbo_bearing", TURBINE, (Stint("NB-03", 1, 3),)),
)
