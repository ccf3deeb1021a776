"""Everything that speaks against the sensors of one run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Literal, cast

from babbitt.errors import Remedy
from babbitt.model.conversion import lateral_positive, units_logged
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event, Reason, ReasonCode
from babbitt.model.kinds import KINDS
from babbitt.model.sensor_doubt import DoubtSort, SensorDoubt
from babbitt.sensors.clocks import drift_doubts
from babbitt.sensors.corners import mirrored
from babbitt.sensors.places import exchanged, frozen, offsets, wrong_zero
from babbitt.sensors.summary import SensorSummary
from babbitt.sensors.units import unit_doubts
from babbitt.sensors.usual import usual_of

MISREAD: tuple[DoubtSort, ...] = ("unit", "exchanged", "absolute", "gauge", "frozen")
"""Doubts that make the events of a run doubtful, and keep it from teaching what is usual. An offset
changes little, and a side that a corner turned to does not make it harm."""

RUNS_ALIKE = 3
"""So many runs of a circuit say which way round it is felt, the newest first."""

CHECKS_VERSION = 1
"""Raised whenever the same summaries give other doubts than before."""


@dataclass(frozen=True)
class AsLogged:
    """How a run was read, as far as it bears on what would mend it.

    Attributes:
        units: channel -> symbol of the unit that it was read in; left out: the canonical one.
        lateral_positive: the side that was taken to be positive in the log.
        clock_chosen: a person said which column is the time.
    """

    units: Mapping[str, str] = field(default_factory=dict)
    lateral_positive: Literal["left", "right"] = "left"
    clock_chosen: bool = False


def as_logged(conversions: Sequence[str], *, clock_chosen: bool = False) -> AsLogged:
    """Return how a run was read, by the conversions that it says were made."""
    return AsLogged(units_logged(conversions), lateral_positive(conversions), clock_chosen)


def doubts_of(
    now: SensorSummary,
    earlier: Sequence[SensorSummary],
    logged: AsLogged,
    spec: EngineSpec | None = None,
) -> tuple[SensorDoubt, ...]:
    """Return what speaks against the sensors of a run; of a channel, only the first thing.

    Args:
        now: of the run.
        earlier: of sound earlier runs of its engine; none: what can be told without is told.
        logged: how it was read.
        spec: the engine's limits; None: unknown.
    """
    usual = usual_of(earlier)
    found: list[SensorDoubt] = []
    for doubts in (
        exchanged(now, usual),
        wrong_zero(now, usual, logged.units),
        unit_doubts(now, usual, logged.units, spec),
        frozen(now, usual),
        offsets(now),
        _side(now, earlier, logged),
    ):
        told = {name for doubt in found for name in doubt.channels}
        found += [doubt for doubt in doubts if not told.intersection(doubt.channels)]
    return (*found, *(() if logged.clock_chosen else drift_doubts(now.clocks)))


def with_doubts(events: Sequence[Event], doubts: Sequence[SensorDoubt]) -> tuple[Event, ...]:
    """Return the events of a run, those that rest on a doubted channel with low confidence."""
    marked = []
    for event in events:
        against = [
            Reason(cast(ReasonCode, doubt.sort), doubt.channels)
            for doubt in doubts
            if doubt.sort in MISREAD
            and any(name in KINDS[event.kind].rests_on for name in doubt.channels)
        ]
        marked.append(replace(event, confidence=event.confidence.with_reasons(against)))
    return tuple(marked)


def _side(
    now: SensorSummary, earlier: Sequence[SensorSummary], logged: AsLogged
) -> tuple[SensorDoubt, ...]:
    """Doubt the sign of lateral acceleration where the corners of an earlier run come mirrored."""
    compared = (mirrored(now.corners, before.corners) for before in reversed(earlier))
    told = list(islice((number for number in compared if number is not None), RUNS_ALIKE))
    if not told or min(told) < 0:
        return ()
    side = "right" if logged.lateral_positive == "left" else "left"
    return (
        SensorDoubt(
            "side",
            ("lateral_g",),
            f"Lateral acceleration seems to have the wrong sign: {max(told)} corners come in the "
            "order, length and strength of an earlier run, each to the other side; if so",
            (Remedy("lateral_positive", value=side),),
        ),
    )
