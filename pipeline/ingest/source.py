"""What ingest is given: a log's bytes, and what the user or a profile says about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import Literal

from pipeline.errors import LogRefusedError, SettingsError
from pipeline.settings import Profile, require_channel, require_unit, zone
from pipeline.units import Unit, parse


@dataclass(frozen=True)
class ReadSource:
    """A log as it lies on disk.

    Attributes:
        name: file name, without its folder.
        data: its bytes; nothing that ingest returns or raises keeps hold of them.
        sha256: of its bytes, hexadecimal.
        modified_at: when the file was last changed, with a zone.
    """

    name: str
    data: bytes | memoryview
    sha256: str
    modified_at: datetime


@dataclass(frozen=True)
class Instructions:
    """How to read a log, and for which engine; what is given here wins over what the log says.

    Attributes:
        engine_id: the engine that made the run; an inspection needs none.
        profile: what the files of this logger leave unsaid.
        columns: header -> canonical channel, or "time".
        units: canonical channel, or "time" -> unit.
        started: start of the log; without a zone it is in that of the log's clock.
        zone: of clocks that name none, where the profile has none either: the logbook's.
    """

    engine_id: str = ""
    profile: Profile | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    started: datetime | None = None
    zone: tzinfo = UTC

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
    ) -> tuple[Unit, Literal["--unit", "profile"]] | None:
        """Return the unit given for a channel, and whether by "--unit" or "profile"."""
        if name in self.units:
            unit = parse(self.units[name], dimension=dimension)
            return None if unit is None else (unit, "--unit")
        if self.profile is not None and name in self.profile.units:
            unit = parse(self.profile.units[name], dimension=dimension)
            return None if unit is None else (unit, "profile")
        return None

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
            raise SettingsError(f"Of what was given with --map and --unit, {error}.") from error


@dataclass(frozen=True)
class Problem:
    """Something that keeps a log from being taken in.

    Attributes:
        sentence: what is wrong and what to do, without the final full stop.
        option: the command-line option that would settle it, or None.
    """

    sentence: str
    option: str | None = None


def refusal(name: str, problems: tuple[Problem, ...]) -> LogRefusedError:
    """Return the error that states every problem of the log `name` at once."""
    options = [problem.option for problem in problems if problem.option is not None]
    return LogRefusedError(
        f"{name}: {'; '.join(problem.sentence for problem in problems)}.",
        option=" ".join(dict.fromkeys(options)) or None,
    )
