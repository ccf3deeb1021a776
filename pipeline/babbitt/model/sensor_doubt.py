"""What speaks against the sensors or the clock of a run, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from babbitt.errors import Remedy

DoubtSort = Literal[
    "unit", "exchanged", "absolute", "gauge", "offset", "frozen", "side", "clock", "drift"
]


@dataclass(frozen=True)
class SensorDoubt:
    """One reason not to take a run as it was read.

    Attributes:
        sort: unit, a channel stated in another unit than it is in; exchanged, two channels in each
            other's place; absolute, an absolute pressure taken as gauge; gauge, the other way
            round; offset, a reading where there is nothing to read; frozen, one that does not
            follow what it should; side, lateral acceleration of the wrong sign; clock, a start
            that cannot be; drift, two clocks that do not agree.
        channels: concerned, none for a clock.
        evidence: what speaks for it, a sentence without its full stop.
        remedies: what would mend it when the run is read again.
    """

    sort: DoubtSort
    channels: tuple[str, ...]
    evidence: str
    remedies: tuple[Remedy, ...] = ()
