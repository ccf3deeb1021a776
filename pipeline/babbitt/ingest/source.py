"""What ingest is given: a log's bytes, and what the user or a profile says about them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import Literal, Protocol

import pyarrow as pa

from babbitt.errors import LogRefusedError, Remedy, SettingsError
from babbitt.logbook.settings import Profile, require_channel, require_unit, zone
from babbitt.model.units import Unit, parse


class Stream(Protocol):
    """Bytes that are read in order."""

    def read(self, size: int, /) -> bytes:
        """Return up to `size` bytes, none at the end."""

    def close(self) -> None:
        """Let go of them."""


@dataclass(frozen=True)
class ReadSource:
    """A log as it lies on disk.

    Attributes:
        name: file name, without its folder.
        data: its bytes, or what opens a stream of them from the first on, as often as it is called.
        sha256: of its bytes, hexadecimal.
        modified_at: when the file was last changed, with a zone.
    """

    name: str
    data: bytes | memoryview | Callable[[], Stream]
    sha256: str
    modified_at: datetime

    def open(self) -> Stream:
        """Open a stream of its bytes."""
        if callable(self.data):
            return self.data()
        stream: Stream = pa.BufferReader(self.data)
        return stream


@dataclass(frozen=True)
class Instructions:
    """How to read a log, of which engine and where; what is given here wins over what the log says.

    Attributes:
        engine_id: the engine that made the run; a preview needs none.
        profile: what the files of this logger leave unsaid.
        profile_name: its name in logbook.toml, where it was named or recognised.
        profiles: those of logbook.toml, of which one may know the kind of file.
        columns: header -> canonical channel, or "time".
        units: canonical channel, or "time" -> unit.
        started: start of the log; without a zone it is in that of the log's clock.
        zone: of clocks that name none, where the profile has none either: the logbook's.
        offsets: canonical channel -> what to take off every reading, in its canonical unit.
        left_out: canonical channels that are not to be believed.
        circuit: where it was recorded; None: nobody said.
    """

    engine_id: str = ""
    profile: Profile | None = None
    profile_name: str | None = None
    profiles: Mapping[str, Profile] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    started: datetime | None = None
    zone: tzinfo = UTC
    offsets: Mapping[str, float] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    circuit: str | None = None

    def clock_zone(self) -> tzinfo:
        """The zone of a clock that names none."""
        if self.profile is not None and self.profile.timezone is not None:
            return zone(self.profile.timezone)
        return self.zone

    def started_at(self) -> datetime | None:
        """The start that the user states, with its zone."""
        if self.started is None or self.started.tzinfo is not None:
            return self.started
        return self.started.replace(tzinfo=self.clock_zone())

    def unit_given(
        self, name: str, dimension: str
    ) -> tuple[Unit, Literal["stated", "profile"]] | None:
        """Return the unit given for a channel, and whether it was stated or is of a profile."""
        if name in self.units:
            unit = parse(self.units[name], dimension=dimension)
            return None if unit is None else (unit, "stated")
        if self.profile is not None and name in self.profile.units:
            unit = parse(self.profile.units[name], dimension=dimension)
            return None if unit is None else (unit, "profile")
        return None

    def rate_given(self) -> Unit | None:
        """Return the rate given in place of a clock, None where there is none."""
        given = self.unit_given("time", "time")
        return given[0] if given is not None and given[0].symbol.endswith("Hz") else None

    def check(self) -> None:
        """Make sure that every channel and unit given exists.

        Raises:
            SettingsError: one does not; names the nearest.
        """
        try:
            for name in self.columns.values():
                require_channel(name)
            for name, unit in self.units.items():
                require_unit(name, unit)
        except ValueError as error:
            raise SettingsError(f"Of the columns and units stated, {error}.") from error


@dataclass(frozen=True)
class Problem:
    """Something that keeps a log from being taken in.

    Attributes:
        sentence: what is wrong and what to do, without the final full stop.
        remedies: that would settle it.
    """

    sentence: str
    remedies: tuple[Remedy, ...] = ()


def refusal(name: str, problems: tuple[Problem, ...]) -> LogRefusedError:
    """Return the error that states every problem of the log `name` at once."""
    return LogRefusedError(
        f"{'; '.join(problem.sentence for problem in problems)}.",
        *(remedy for problem in problems for remedy in problem.remedies),
        log=name,
    )


def problem_of(error: LogRefusedError) -> Problem:
    """Return what a refusal states, to be stated beside other problems of the log."""
    return Problem(error.sentence.removesuffix("."), error.remedies)
