"""A logbook's settings: its time zone, units for showing, and logger profiles (logbook.toml)."""

from __future__ import annotations

import difflib
from datetime import UTC, tzinfo
from typing import Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from babbitt.errors import RegisterError, SettingsError, tell_faults
from babbitt.model.channels import channels
from babbitt.model.damage_modes import part_named, parts_once_called
from babbitt.model.service_limits import ServiceLimit
from babbitt.model.toml_text import read_toml, shown
from babbitt.model.units import parse

UnitSystem = Literal["metric", "imperial"]

TIME = "time"
"""Stands for the time column where headers and units are given."""

_ADDRESSES = ("register", "files")

DATE = "date"
"""Stands for a column of dates beside the time where headers are given."""


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class Profile(_Section):
    """What the files of one logger leave unsaid.

    Attributes:
        columns: header -> canonical channel, "time" or "date".
        units: canonical channel, or "time" -> unit; overrides what the file states.
        lateral_positive: corner direction in which the logger's lateral acceleration is positive;
            None: left, as ISO 8855 has it.
        ambient_kpa: ambient pressure, absolute, to take from absolute manifold pressure.
        timezone: zone of the logger's clock; None: the logbook's.
        dates: order of day, month and year in numeric dates.
        fingerprint: of the kind of file that this profile is taken for without being named.
    """

    columns: dict[str, str] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    lateral_positive: Literal["left", "right"] | None = None
    ambient_kpa: float | None = Field(default=None, gt=50.0, lt=120.0)
    timezone: str | None = None
    dates: Literal["day-first", "month-first", "year-first"] | None = None
    fingerprint: str | None = Field(default=None, pattern="^[0-9a-f]{16}$")

    @field_validator("columns")
    @classmethod
    def _channels_exist(cls, columns: dict[str, str]) -> dict[str, str]:
        for name in columns.values():
            require_channel(name)
        return columns

    @field_validator("units")
    @classmethod
    def _units_fit(cls, units: dict[str, str]) -> dict[str, str]:
        for name, unit in units.items():
            require_unit(name, unit)
        return units

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, timezone: str | None) -> str | None:
        if timezone is not None:
            zone(timezone)
        return timezone

    def overlaid(self, by: Profile) -> Profile:
        """Return this profile with what `by` states in place of what this one does."""
        stated = {name: getattr(by, name) for name in by.model_fields_set}
        columns, units = self.columns | by.columns, self.units | by.units
        return self.model_copy(update=stated | {"columns": columns, "units": units})


class Settings(_Section):
    """The settings of a logbook.

    Attributes:
        schema_version: of the logbook's folder.
        units: what a reader is shown; storage stays canonical.
        timezone: IANA name; zone of clocks that state none.
        profile: logger profiles by name.
        register_url: address of the register's PostgreSQL database (`register` in the file); None:
            a SQLite file in the logbook.
        files: address of the store of originals and runs; None: the logbook's folder.
        service: service limits by kind of part.
    """

    schema_version: Literal[1] = 1
    units: UnitSystem = "metric"
    timezone: str = "UTC"
    profile: dict[str, Profile] = Field(default_factory=dict)
    register_url: str | None = Field(default=None, alias="register")
    files: str | None = None
    service: dict[str, ServiceLimit] = Field(default_factory=dict)

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, timezone: str) -> str:
        zone(timezone)
        return timezone

    @field_validator("register_url")
    @classmethod
    def _is_a_server(cls, register_url: str | None) -> str | None:
        if register_url is not None and not register_url.startswith("postgresql://"):
            raise ValueError(
                "write it like 'postgresql://user@host/name', or leave it out for a file in the "
                "logbook"
            )
        return register_url

    @field_validator("service", mode="before")
    @classmethod
    def _named_today(cls, service: Any) -> Any:
        if not isinstance(service, dict):
            return service
        return {
            name: limit
            for kind, limit in service.items()
            for name in parts_once_called(kind) or (kind,)
        }

    @field_validator("service")
    @classmethod
    def _parts_exist(cls, service: dict[str, ServiceLimit]) -> dict[str, ServiceLimit]:
        try:
            for kind in service:
                part_named(kind)
        except RegisterError as error:
            sentence = str(error).removesuffix(".")
            raise ValueError(sentence[0].lower() + sentence[1:]) from error
        return service

    def profile_named(self, name: str) -> Profile:
        """Return the profile `name`.

        Raises:
            SettingsError: there is none; names those there are.
        """
        if name in self.profile:
            return self.profile[name]
        known = ", ".join(sorted(self.profile)) or "none yet"
        raise SettingsError(f"logbook.toml has no [profile.{name}] (profiles there: {known}).")


def parse_settings(text: str, *, source: str) -> Settings:
    """Read a logbook's settings from TOML.

    Raises:
        SettingsError: names every fault at once.
    """
    try:
        return Settings.model_validate(read_toml(text))
    except ValidationError as error:
        raise SettingsError(f"{source}: {tell_faults(error.errors(), _sentence)}") from error
    except ValueError as error:
        raise SettingsError(f"{source} is not TOML: {error}.") from error


def zone(name: str) -> tzinfo:
    """Return the time zone of an IANA name.

    Raises:
        ValueError: there is no such zone.
    """
    if name.upper() == "UTC":
        return UTC
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"{name!r} is no time zone; write it like 'Europe/Paris'") from error


def require_channel(name: str) -> str:
    """Return `name` where it is a canonical channel, "time" or "date".

    Raises:
        ValueError: it is none; names the nearest.
    """
    if name in channels() or name in (TIME, DATE):
        return name
    close = difflib.get_close_matches(name, channels(), n=1)
    hint = f"did you mean {close[0]!r}?" if close else f"known: {', '.join(channels())}"
    raise ValueError(f"{name!r} is no channel ({hint})")


def require_unit(channel: str, unit: str) -> str:
    """Return `unit` where it can measure the canonical channel `channel`, or "time".

    Raises:
        ValueError: the channel or the unit is unknown, or they do not fit.
    """
    known = require_channel(channel)
    if known == DATE:
        raise ValueError("a date has no unit")
    dimension = TIME if known == TIME else channels()[known].unit.dimension
    if parse(unit, dimension=dimension) is None:
        raise ValueError(f"{unit!r} is no unit of {channel} ({dimension})")
    return unit


def _sentence(fault: Any) -> str:
    path = ".".join(str(part) for part in fault["loc"])
    match fault["type"]:
        case "extra_forbidden":
            return f"unknown key {shown(path)}"
        case "value_error":
            return f"in {path}: {fault['ctx']['error']}"
        case _:
            message = fault["msg"][0].lower() + fault["msg"][1:]
            if path.startswith(_ADDRESSES):  # there may be a password in it
                return f"{path!r}: {message}"
            return f"{path!r} is {shown(fault['input'])}: {message}"
