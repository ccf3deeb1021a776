"""One harmful event."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

from babbitt.model.kinds import Kind

EndedBy = Literal["release", "gap", "end_of_run"]
Direction = Literal["left", "right", "braking", "accelerating"]
Verdict = Literal["confirmed", "sensor_fault", "harmless"]
VERDICTS: tuple[Verdict, ...] = ("confirmed", "sensor_fault", "harmless")
NOT_COUNTED: tuple[Verdict, ...] = ("sensor_fault", "harmless")
"""Reviews that take an event out of the totals."""


ReasonCode = Literal[
    "pressure_not_learned",
    "no_oil_temperature",
    "no_lateral_g",
    "perhaps_unplugged",
    "rise_not_logged",
    "lift_not_logged",
    "unit",
    "exchanged",
    "absolute",
    "gauge",
    "frozen",
    "as_written",
]


@dataclass(frozen=True)
class Reason:
    """One reason not to take an event as it stands.

    Attributes:
        code: pressure_not_learned, the build's expected oil pressure is not known yet;
            no_oil_temperature and no_lateral_g, the run has none there; perhaps_unplugged, most of
            its samples are suspect; rise_not_logged, the log does not show how engine speed rose;
            lift_not_logged, nothing tells whether the driver was off the power; unit, exchanged,
            absolute, gauge and frozen, its sensors are doubted so; as_written, what the first
            edition wrote.
        channels: concerned; empty for most.
        said: in its own words, where the first edition wrote it; else "".
    """

    code: ReasonCode
    channels: tuple[str, ...] = ()
    said: str = ""


@dataclass(frozen=True)
class Confidence:
    """How far an event can be relied on.

    Attributes:
        level: low where there are reasons against it.
        reasons: those.
    """

    level: Literal["high", "low"]
    reasons: tuple[Reason, ...]

    def with_reasons(self, reasons: Iterable[Reason]) -> Confidence:
        """The confidence that is left when more speaks against the event."""
        return confidence_of((*self.reasons, *reasons))

    def to_json(self) -> str:
        """JSON that `from_json` reads."""
        return json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Confidence:
        """The confidence that `to_json` wrote."""
        raw = json.loads(text)
        reasons = (
            Reason(each["code"], tuple(each["channels"]), each["said"]) for each in raw["reasons"]
        )
        return cls(raw["level"], tuple(reasons))


CERTAIN = Confidence("high", ())


def confidence_of(reasons: Iterable[Reason]) -> Confidence:
    """The confidence of an event that these reasons speak against."""
    against = tuple(reasons)
    return Confidence("low", against) if against else CERTAIN


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
        cause: over_rev: on_power, driven or unknown; temperatures: heat_soak after shutdown; else
            None.
        side: left or right: the way the corner turned (oil_starvation), else None.
        direction: the side, or braking or accelerating: what the oil ran away from.
        ended_by: release, gap in the log, or end of the run.
        confidence: how far it can be relied on, and why no further.
        review: a person's word on it, None until there is one.
        spec_version: hash of the limits that judged it.
        lap: number of the lap that it began in; None: unknown.
        corner: number of the corner that it lies in; None: in none, or unknown.
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
    direction: Direction | None
    ended_by: EndedBy
    confidence: Confidence
    review: Verdict | None
    spec_version: str
    lap: int | None = None
    corner: int | None = None


def event_id_of(run_id: str, kind: Kind, peak_s: float) -> str:
    """Return the event's id: 12 hex digits that depend on run, kind and peak instant only.

    The instant of the worst sample stays where it is when a limit moves; start and end do not.
    """
    text = f"{run_id}/{kind}/{peak_s:.3f}"
    return hashlib.sha256(text.encode()).hexdigest()[:12]
