"""Doses order harm as an engine builder would (common practice, no source): through the whole job.

In each pair the first does more harm than the second.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from invented import SPEC
from judged_logs import JudgedLogs, lively

Held = tuple[str, float, dict[str, float]]
"""A kind of harm, for how many seconds, and what the channels read then."""
CALM = {
    "rpm": 4000.0,
    "oil_pressure": 480.0,
    "oil_temperature": 95.0,
    "coolant_temperature": 88.0,
    "boost": 20.0,
    "lateral_g": 0.0,
    "throttle": 40.0,
}
SPEC_480 = SPEC + "[oil_pressure]\nfloor_kpa_per_1000rpm = 96.0\nrelief_kpa = 480.0\n"


RAMPS_S = {
    "rpm": 0.4,
    "oil_pressure": 0.2,
    "lateral_g": 1.0,
    "oil_temperature": 20.0,
    "coolant_temperature": 20.0,
}
"""How long it takes: no sound sensor leaps."""


def harm_done(folder: Path, kind: str, seconds: float, **levels: float) -> float:
    """The dose of one kind of what was held for so long in an otherwise calm log."""
    t = np.arange(0.0, seconds + 60.0, 0.05 if seconds < 100 else 1.0)
    held = (t >= 30.0) & (t < 30.0 + seconds)
    shifting = {name: np.where(held, levels.get(name, calm), calm) for name, calm in CALM.items()}
    for name, ramp_s in RAMPS_S.items():
        if name in levels:
            begin, end, level, calm = 30.0, 30.0 + seconds, levels[name], CALM[name]
            at_s = [begin - ramp_s, begin, end, end + ramp_s]
            shifting[name] = np.interp(t, at_s, [calm, level, level, calm])
    logs = JudgedLogs(folder, SPEC_480)
    run = logs.take_in(t, {name: lively(values) for name, values in shifting.items()})
    return sum(event.dose for event in logs.events(run) if event.kind == kind)


ORDERS = {
    "a wrong downshift far past the mechanical limit, or a little over the redline for long": (
        ("over_rev", 0.4, {"rpm": 9300.0, "throttle": 0.0}),
        ("over_rev", 8.0, {"rpm": 7650.0}),
    ),
    "hardly any oil for two seconds, or three quarters of it for eight": (
        ("oil_starvation", 2.0, {"rpm": 5000.0, "oil_pressure": 10.0, "lateral_g": 1.2}),
        ("oil_starvation", 8.0, {"rpm": 5000.0, "oil_pressure": 355.0, "lateral_g": 1.2}),
    ),
    "starved with hot oil, or with cooler": (
        (
            "oil_starvation",
            4.0,
            {"rpm": 6000.0, "oil_pressure": 150.0, "lateral_g": 1.2, "oil_temperature": 134.0},
        ),
        (
            "oil_starvation",
            4.0,
            {"rpm": 6000.0, "oil_pressure": 150.0, "lateral_g": 1.2, "oil_temperature": 90.0},
        ),
    ),
    "boiling for half a minute, or two degrees over for an hour": (
        ("coolant_overheat", 30.0, {"coolant_temperature": 140.0}),
        ("coolant_overheat", 3600.0, {"coolant_temperature": 110.0}),
    ),
    "oil far too hot for two minutes, or a little for ten": (
        ("oil_overheat", 120.0, {"oil_temperature": 165.0}),
        ("oil_overheat", 600.0, {"oil_temperature": 137.0}),
    ),
    "full boost on oil of ten degrees, or a bit of speed on oil that is nearly warm": (
        ("cold_load", 40.0, {"rpm": 7500.0, "boost": 160.0, "oil_temperature": 10.0}),
        ("cold_load", 60.0, {"rpm": 5050.0, "oil_temperature": 69.0}),
    ),
}


@pytest.mark.parametrize("pair", ORDERS.values(), ids=ORDERS)
def test_the_first_does_more_harm(
    tmp_path: Path, pair: tuple[tuple[str, float, dict[str, float]], ...]
) -> None:
    more, less = (
        harm_done(tmp_path / name, kind, seconds, **levels)
        for name, (kind, seconds, levels) in zip(("more", "less"), pair, strict=True)
    )
    assert more > less > 0.0
