"""What the logs of every form hold, all of it invented, and the pieces they are written with."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import numpy as np

COUNT = 30
TIME_S = np.arange(COUNT) / 10
RPM = 870.0 + 37 * np.arange(COUNT)
OIL = 320.0 + 2.5 * np.arange(COUNT)
HOT = 88.0 + 0.25 * np.arange(COUNT)
START = datetime(2026, 5, 16, 14, 5, 6, tzinfo=UTC)


@dataclass(frozen=True)
class Form:
    """A log in one form.

    Attributes:
        name: of the form, and of its file.
        says: what is special about it.
        data: the log.
        planted: channel -> its values, NaN where blank; shape (samples,).
        time_s: of the samples.
        started: UTC, None where the log does not say.
        given: what a user says beside it.
        refused: with which words it is refused, "" where it is taken in.
        warned: words of a warning that must come, "" where none must.
    """

    name: str
    says: str
    data: bytes
    planted: Mapping[str, np.ndarray] = field(default_factory=dict)
    time_s: np.ndarray = field(default_factory=lambda: TIME_S)
    started: datetime | None = None
    given: Mapping[str, Any] = field(default_factory=dict)
    refused: str = ""
    warned: str = ""


Cells = Sequence[Sequence[str]]
PLAIN = {"rpm": RPM, "oil_pressure": OIL, "oil_temperature": HOT}
NAMES = ("Time [s]", "RPM", "Oil Press [kPa]", "Oil Temp [°C]")


def text(lines: Cells, delimiter: str = ",", end: str = "\n") -> str:
    return "".join(delimiter.join(cells) + end for cells in lines)


def rows(
    time: Callable[[int], str] = lambda i: f"{TIME_S[i]:.1f}",
    number: Callable[[float], str] = lambda value: f"{value:.2f}",
    count: int = COUNT,
) -> list[list[str]]:
    return [[time(i), f"{RPM[i]:.0f}", number(OIL[i]), number(HOT[i])] for i in range(count)]


def comma(value: float) -> str:
    return f"{value:.2f}".replace(".", ",")


def stamps(pattern: str, first: datetime = START, zone: tzinfo = UTC) -> Callable[[int], str]:
    """Stamps of the rows by a clock of the zone; %f in the pattern is milliseconds."""

    def stamp(i: int) -> str:
        moment = (first + timedelta(seconds=float(TIME_S[i]))).astimezone(zone)
        return moment.strftime(pattern.replace("%f", f"{moment.microsecond // 1000:03d}"))

    return stamp
