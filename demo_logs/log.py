"""One log of the season, as planned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from demo_logs.dialects import Dialect
from demo_logs.planting import Fault, Lookalike, Planted
from demo_logs.session import SessionPlan

ROLLS = SessionPlan("rolls", 9, idle_s=8.0, oil_c=(77.0, 185.0), coolant_c=(80.0, 90.0))
TOLLBAR = SessionPlan("Tollbar Bowl", 3)
FENNICK = SessionPlan("Fennick Hill", 2)


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
