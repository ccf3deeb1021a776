"""Service limits: how much of running, revolutions or harm a kind of part may take."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

from babbitt.model.bounds import Total
from babbitt.model.exposure import WindowSums
from babbitt.model.kinds import KINDS

NEAR = 0.8
"""Share of a limit from which a part is near it (common practice, no source)."""

_HOUR_S = 3600.0


class ServiceLimit(BaseModel):
    """What a part may take before it is due; the user's own figures.

    Attributes:
        running_h: hours of running.
        revolutions: of the crankshaft.
        dose: kind of harm -> dose, in the unit of the kind.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)

    running_h: Total | None = None
    revolutions: Total | None = None
    dose: dict[str, Total] = Field(default_factory=dict)

    @field_validator("dose")
    @classmethod
    def _kinds_exist(cls, dose: dict[str, float]) -> dict[str, float]:
        for name in dose:
            if name not in KINDS:
                close = difflib.get_close_matches(name, KINDS, n=1)
                hint = f"did you mean {close[0]!r}?" if close else f"known: {', '.join(KINDS)}"
                raise ValueError(f"there is no kind of harm {name!r} ({hint})")
        return dose

    @model_validator(mode="after")
    def _limits_something(self) -> Self:
        if self.running_h is None and self.revolutions is None and not self.dose:
            raise ValueError("give running_h, revolutions or dose")
        return self


@dataclass(frozen=True)
class ServiceUse:
    """How much of one service limit a part has used.

    Attributes:
        measure: "running_h", "revolutions" or a kind of harm.
        unit: of `used` and `limit`.
        used: what the part has taken, as far as it is known.
        limit: what it may take.
        unknown_h: running hours of which the measure says nothing: it may have used more.
    """

    measure: str
    unit: str
    used: float
    limit: float
    unknown_h: float

    @property
    def share(self) -> float:
        """The part of the limit that is used; 1 and more: past it."""
        return self.used / self.limit

    @property
    def is_near(self) -> bool:
        """Whether the limit is near or passed."""
        return self.share >= NEAR


def service_use(limit: ServiceLimit, sums: WindowSums) -> tuple[ServiceUse, ...]:
    """Return how much of each of its limits a part has used: hours, revolutions, then doses.

    Args:
        limit: of parts of its kind.
        sums: what the part has taken.
    """
    found = []
    if limit.running_h is not None:
        running_h = sums.running_s / _HOUR_S
        found.append(ServiceUse("running_h", "h", running_h, limit.running_h, 0.0))
    if limit.revolutions is not None:
        unknown_h = sums.uncounted_s / _HOUR_S
        found.append(
            ServiceUse("revolutions", "rev", sums.revolutions, limit.revolutions, unknown_h)
        )
    for name, dose in limit.dose.items():
        kind = name
        of_kind = sums.kinds[kind]
        unknown_h = max(0.0, sums.running_s - of_kind.watched_s) / _HOUR_S
        found.append(ServiceUse(kind, KINDS[kind].dose_unit, of_kind.dose, dose, unknown_h))
    return tuple(found)
