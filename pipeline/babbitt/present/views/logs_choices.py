"""What a person says of a log before it is taken in, and the answers that a refusal offers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from babbitt.errors import Remedy, SettingsError
from babbitt.ingest.source import Instructions
from babbitt.logbook.settings import DATE, TIME, Profile, Settings, zone
from babbitt.model.channels import channels
from babbitt.model.circuit import circuit_name
from babbitt.model.plain_text import parse_instant

DATE_ORDERS = {
    "day-first": "day first",
    "month-first": "month first",
    "year-first": "year first",
}
OVERLAPS = {
    "refuse": "hold it back",
    "replace": "this log replaces the other run",
    "keep-both": "keep both runs",
}
_TIME_UNITS = {"s": "seconds", "ms": "milliseconds"}


class Choices(BaseModel):
    """What was chosen for a log; "" and empty where nothing was.

    Attributes:
        engine: id of the engine that ran.
        profile: name of a logger profile.
        columns: header -> canonical channel, "time" or "date".
        units: canonical channel, or "time" -> unit.
        started: when it began, as typed.
        dates: order of day, month and year.
        timezone: zone of the logger's clock.
        lateral_positive: corner in which lateral acceleration is positive.
        overlap: what to do when it overlaps another run of the engine.
        circuit: where it was recorded.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    engine: str = ""
    profile: str = ""
    columns: dict[str, str] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    started: str = ""
    dates: Literal["", "day-first", "month-first", "year-first"] = ""
    timezone: str = ""
    lateral_positive: Literal["", "left", "right"] = ""
    overlap: Literal["refuse", "replace", "keep-both"] = "refuse"
    circuit: str = ""

    def changed(self, change: Mapping[str, Any]) -> Choices:
        """Return these choices with others in their place.

        A column or unit given as "" is no longer chosen.

        Raises:
            SettingsError: something is chosen that does not exist.
        """
        mine, over = self.model_dump(), dict(change)
        for name in ("columns", "units"):
            merged = {**mine[name], **over.pop(name, {})}
            mine[name] = {key: value for key, value in merged.items() if value}
        try:
            return Choices.model_validate(mine | over)
        except ValidationError as error:
            place = ".".join(str(part) for part in error.errors()[0]["loc"])
            raise SettingsError(f"That cannot be chosen for {place!r}: choose again.") from error


@dataclass(frozen=True)
class Answer:
    """One way to settle a refusal.

    Attributes:
        words: what it says.
        change: of the choices.
    """

    words: str
    change: Mapping[str, Any]


def instructions_from(choices: Choices, settings: Settings, engine_id: str = "") -> Instructions:
    """Return how a log is to be read.

    Args:
        choices: what a person said of it.
        settings: of the logbook.
        engine_id: the engine that ran; "" for a look at it.

    Raises:
        SettingsError: a channel, unit, profile, time zone or instant given does not exist.
        RegisterError: the circuit cannot be kept by such a name.
    """
    named = settings.profile_named(choices.profile) if choices.profile else Profile()
    said = {
        "dates": choices.dates,
        "timezone": choices.timezone,
        "lateral_positive": choices.lateral_positive,
    }
    try:
        over = Profile.model_validate({name: value for name, value in said.items() if value})
        started = parse_instant(choices.started) if choices.started else None
    except ValidationError as error:
        raise SettingsError(
            f"{choices.timezone!r} is no time zone; write it like Europe/Paris."
        ) from error
    except ValueError as error:
        raise SettingsError(f"Began at: {error}.") from error
    made = Instructions(
        engine_id=engine_id,
        profile=named.overlaid(over),
        profile_name=choices.profile or None,
        profiles=settings.profile,
        columns=choices.columns,
        units=choices.units,
        started=started,
        zone=zone(settings.timezone),
        circuit=circuit_name(choices.circuit),
    )
    made.check()
    return made


def settled_profile(
    choices: Choices, settings: Settings, used: str | None, fingerprint: str
) -> Profile:
    """Return the profile of what holds for every log of the same kind.

    Args:
        choices: what a person said of one of them.
        settings: of the logbook.
        used: name of the profile by which that was read; None: by none.
        fingerprint: of the kind of file.

    Raises:
        SettingsError: something was given that does not exist.
    """
    base = settings.profile_named(used) if used else Profile()
    given = instructions_from(choices, settings).profile or Profile()
    said = Profile(columns=choices.columns, units=choices.units, fingerprint=fingerprint)
    return base.overlaid(given).overlaid(said)


def answers_to(remedies: Iterable[Remedy]) -> tuple[Answer, ...]:
    """Return the answers that settle a refusal, the likeliest of a question first."""
    found = [answer for each in remedies if (answer := _answer(each)) is not None]
    return tuple({answer.words: answer for answer in found}.values())


def _answer(remedy: Remedy) -> Answer | None:
    """Return what a remedy chooses; None where the reader has to say something for himself."""
    target, value = remedy.target, remedy.value
    if not value:
        return None
    match remedy.option:
        case "unit" if target == TIME:
            return Answer(f"The time counts {_TIME_UNITS[value]}", {"units": {TIME: value}})
        case "unit":
            return Answer(f"{title_of(target)} is in {value}", {"units": {target: value}})
        case "map" if target:
            words = f"{target!r} is the {channel_words(value)}"
            return Answer(words, {"columns": {target: value}})
        case "dates":
            return Answer(f"Dates are written {DATE_ORDERS[value]}", {"dates": value})
        case "profile":
            return Answer(f"Read it by the profile {value}", {"profile": value})
        case "overlap":
            return Answer(OVERLAPS[value].capitalize(), {"overlap": value})
    return None


def channel_words(name: str) -> str:
    """Return a canonical channel, "time" or "date" in words."""
    return name if name in (TIME, DATE) else channels()[name].title


def title_of(name: str) -> str:
    """Return what begins a sentence about a canonical channel."""
    words = channel_words(name)
    return words[:1].upper() + words[1:]
