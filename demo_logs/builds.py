"""The builds of the invented engines: what was measured, and what each teardown truly showed."""

from __future__ import annotations

from demo_logs.when import utc
from demo_logs.workshop import AsBuilt, Build, Engine, Line, Teardown

NEW_RINGS = tuple(Line("ring", position, "replaced") for position in ("1", "2", "3", "4"))
NEW_ROD_BOLTS = tuple(Line("rod_bolt", position, "replaced") for position in ("1", "2", "3", "4"))


def measured(
    *,
    rod_bearings: tuple[float, ...],
    main_bearings: tuple[float, ...],
    end_gaps: tuple[float, ...],
    deck: tuple[float, ...],
    stud_torque: float,
) -> tuple[AsBuilt, ...]:
    """Return what is measured of every fresh build, with its invented tolerances."""
    return (
        AsBuilt("rod_bearing", "clearance", "mm", 0.045, 0.065, rod_bearings),
        AsBuilt("main_bearing", "clearance", "mm", 0.040, 0.060, main_bearings),
        AsBuilt("ring", "end gap", "mm", 0.38, 0.50, end_gaps),
        AsBuilt("piston_crown", "depth below the deck", "mm", 0.10, 0.30, deck),
        AsBuilt("", "head stud torque", "N·m", 105.0, 115.0, (stud_torque,)),
    )


NB_01 = Engine(
    "NB-01",
    (
        Build(
            utc(2025, 3, 10, 9),
            measured=measured(
                rod_bearings=(0.050, 0.051, 0.050, 0.050),
                main_bearings=(0.045, 0.046, 0.047, 0.046, 0.045),
                end_gaps=(0.42, 0.43, 0.42, 0.42),
                deck=(0.18, 0.18, 0.19, 0.18),
                stud_torque=110.0,
            ),
            teardown=Teardown(
                utc(2025, 11, 15, 10),
                "end of season, all apart",
                {("valve_seat", "3"): "unlogged"},
            ),
        ),
        Build(
            utc(2026, 3, 2, 9),
            "new rod bearings and rings; head of NB-02, while its own has its seats cut",
            measured(
                rod_bearings=(0.051, 0.052, 0.050, 0.051),
                main_bearings=(0.047, 0.048, 0.049, 0.048, 0.047),
                end_gaps=(0.42, 0.43, 0.42, 0.42),
                deck=(0.18, 0.18, 0.19, 0.18),
                stud_torque=110.0,
            ),
            (*NEW_RINGS, *NEW_ROD_BOLTS),
            Teardown(
                utc(2026, 6, 16, 10),
                "oil pressure dips in the bowls; all apart",
                {
                    ("rod_bearing", "1"): "oil_starvation",
                    ("rod_bearing", "2"): "oil_starvation",
                    ("rod_bearing", "3"): "oil_starvation",
                    ("main_bearing", "3"): "oil_starvation",
                    ("crankpin", "2"): "oil_starvation",
                },
            ),
        ),
        Build(
            utc(2026, 6, 29, 15),
            "new rod and main bearings and rings, crank polished",
            measured(
                rod_bearings=(0.052, 0.056, 0.052, 0.051),
                main_bearings=(0.046, 0.047, 0.048, 0.047, 0.046),
                end_gaps=(0.42, 0.42, 0.43, 0.42),
                deck=(0.18, 0.18, 0.19, 0.18),
                stud_torque=110.0,
            ),
            (*NEW_RINGS, *NEW_ROD_BOLTS),
        ),
    ),
)

NB_02 = Engine(
    "NB-02",
    (
        Build(
            utc(2025, 3, 17, 9),
            measured=measured(
                rod_bearings=(0.050, 0.051, 0.051, 0.050),
                main_bearings=(0.046, 0.047, 0.048, 0.048, 0.046),
                end_gaps=(0.41, 0.42, 0.41, 0.42),
                deck=(0.21, 0.21, 0.20, 0.21),
                stud_torque=110.0,
            ),
            teardown=Teardown(utc(2025, 11, 22, 10), "end of season, all apart", {}),
        ),
        Build(
            utc(2026, 3, 9, 9),
            "new rod bearings and rings; head of NB-01, its seats cut",
            measured(
                rod_bearings=(0.050, 0.051, 0.051, 0.052),
                main_bearings=(0.048, 0.049, 0.050, 0.050, 0.048),
                end_gaps=(0.41, 0.42, 0.42, 0.41),
                deck=(0.21, 0.21, 0.20, 0.21),
                stud_torque=110.0,
            ),
            (*NEW_RINGS, *NEW_ROD_BOLTS),
            Teardown(
                utc(2026, 7, 6, 10),
                "oil pressure falls away on the straights; all apart",
                {
                    ("main_bearing", "1"): "low_oil_pressure",
                    ("main_bearing", "2"): "low_oil_pressure",
                    ("main_bearing", "3"): "low_oil_pressure",
                    ("main_bearing", "4"): "low_oil_pressure",
                    ("main_bearing", "5"): "low_oil_pressure",
                    ("main_journal", "4"): "low_oil_pressure",
                    ("rod_bearing", "4"): "low_oil_pressure",
                    ("cylinder_head", ""): "coolant_overheat",
                },
            ),
        ),
        Build(
            utc(2026, 7, 20, 15),
            "new main and rod bearings and rings, the spare crank, head skimmed",
            measured(
                rod_bearings=(0.052, 0.052, 0.051, 0.052),
                main_bearings=(0.045, 0.046, 0.046, 0.046, 0.045),
                end_gaps=(0.42, 0.42, 0.42, 0.43),
                deck=(0.20, 0.21, 0.20, 0.20),
                stud_torque=112.0,
            ),
            (*NEW_RINGS, *NEW_ROD_BOLTS),
        ),
    ),
)

NB_03 = Engine(
    "NB-03",
    (
        Build(
            utc(2025, 2, 10, 9),
            measured=measured(
                rod_bearings=(0.051, 0.052, 0.051, 0.050),
                main_bearings=(0.048, 0.048, 0.049, 0.048, 0.048),
                end_gaps=(0.43, 0.44, 0.43, 0.43),
                deck=(0.17, 0.17, 0.17, 0.18),
                stud_torque=108.0,
            ),
            teardown=Teardown(
                utc(2025, 8, 12, 10),
                "two wrong downshifts; head off and rods out, the crank stayed in",
                {
                    ("intake_valve", "2"): "over_rev.driven",
                    ("piston_crown", "2"): "over_rev",
                    ("rod_bolt", "2"): "over_rev.driven",
                    ("rod_bolt", "3"): "over_rev.driven",
                },
            ),
        ),
        Build(
            utc(2025, 8, 25, 9),
            "new rod bolts, one new intake valve",
            measured(
                rod_bearings=(0.053, 0.054, 0.053, 0.052),
                main_bearings=(),  # the crank stayed in
                end_gaps=(0.44, 0.45, 0.44, 0.44),
                deck=(0.17, 0.17, 0.17, 0.18),
                stud_torque=108.0,
            ),
            (*NEW_ROD_BOLTS, Line("intake_valve", "2", "replaced")),
            Teardown(
                utc(2026, 2, 14, 10),
                "winter, all apart",
                {("valve_retainer", "4"): "unlogged"},
            ),
        ),
        Build(
            utc(2026, 3, 16, 9),
            "new bearings and rings; more room between rocker and retainer",
            measured(
                rod_bearings=(0.050, 0.051, 0.050, 0.050),
                main_bearings=(0.046, 0.047, 0.047, 0.047, 0.046),
                end_gaps=(0.42, 0.42, 0.41, 0.42),
                deck=(0.17, 0.17, 0.17, 0.18),
                stud_torque=110.0,
            ),
            (*NEW_RINGS, *NEW_ROD_BOLTS, Line("valve_retainer", "4", "reworked")),
        ),
    ),
)

ENGINES = (NB_01, NB_02, NB_03)
