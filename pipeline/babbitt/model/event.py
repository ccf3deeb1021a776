"""One harmful event."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Literal

from babbitt.model.engine_spec import Kind

EndedBy = Literal["release", "gap", "end_of_run"]
Verdict = Literal["confirmed", "sensor_fault", "harmless"]
VERDICTS: tuple[Verdict, ...] = ("confirmed", "sensor_fault", "harmless")
NOT_COUNTED: tuple[Verdict, ...] = ("sensor_fault", "harmless")
"""Reviews that take an event out of the totals."""


@dataclass(frozen=True)
class Event:
    """One harmful stretch of a run.

    Attributes:
        event_id: from run, kind and the instant of the peak, so it survives a change of limits.
        run_id: the run it was found in.
        engine_id: the engine that made the run.
        kind: what sort of harm.
        start_s: first crossing of the limit, seconds from the start of the run.
        end_s: last crossing of the limit, seconds from the start of the run.
        duration_s: seconds beyond the limit; at most end_s - start_s.
        peak: worst value: highest, for pressures of oil lowest.
        peak_s: when, seconds from the start of the run.
        peak_unit: unit of `peak`.
        dose: how much harm it did; doses of one kind add up.
        dose_unit: unit of `dose`.
        cause: over_rev: on_power or driven; temperatures: heat_soak after shutdown; else None.
        side: left or right: the way the corner turned (oil_starvation), else None.
        ended_by: release, gap in the log, or end of the run.
        confidence: "high", or "low: " and the reason.
        review: a person's word on it, None until there is one.
        spec_version: hash of the limits that judged it.
    """

    event_id: str
    run_id: str
    engine_id: str
    kind: Kind
    start_s: float
    end_s: float
    duration_s: float
    peak: float
    peak_s: float
    peak_unit: str
    dose: float
    dose_unit: str
    cause: str | None
    side: Literal["left", "right"] | None
    ended_by: EndedBy
    confidence: str
    review: Verdict | None
    spec_version: str


def event_id_of(run_id: str, kind: Kind, peak_s: float) -> str:
    """Return the event's id: 12 hex digits that depend on run, kind and peak instant only.

    The instant of the worst sample stays where it is when a limit moves; start and end do not.
    """
    text = f"{run_id}/{kind}/{peak_s:.3f}"
    return hashlib.sha256(text.encode()).hexdigest()[:12]
