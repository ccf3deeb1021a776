"""The options that say how logs are to be read."""

from __future__ import annotations

from typing import Annotated, Literal

import typer
from pydantic import ValidationError

from babbitt.commands.common import instant, pairs
from babbitt.errors import SettingsError
from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import Overlap
from babbitt.logbook.settings import Profile, Settings, zone
from babbitt.model.circuit import circuit_name

MapOption = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="HEADER=CHANNEL", help="Which channel a column is; repeatable."),
]
UnitOption = Annotated[
    list[str] | None,
    typer.Option("--unit", metavar="CHANNEL=UNIT", help="The unit of a channel; repeatable."),
]
ProfileOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="A logger profile of logbook.toml; without it, the one that knows the kind of file.",
    ),
]
StartedOption = Annotated[
    str | None, typer.Option(metavar="WHEN", help="When the log began; one log at a time.")
]
DatesOption = Annotated[
    Literal["day-first", "month-first", "year-first"] | None,
    typer.Option(help="The order of day, month and year in dates like 03/05/26."),
]
TimezoneOption = Annotated[
    str | None, typer.Option(metavar="ZONE", help="Of the logger's clock, like Europe/Paris.")
]
LateralOption = Annotated[
    Literal["left", "right"] | None,
    typer.Option(
        "--lateral-positive", help="The corner in which the logger's lateral g is positive."
    ),
]
CircuitOption = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="Where it ran; without it, where the log says it did."),
]
OverlapOption = Annotated[
    Overlap,
    typer.Option(help="What to do with a log that overlaps another run of the engine."),
]


def instructions_from(
    settings: Settings,
    engine_id: str = "",
    *,
    profile: str | None,
    columns: list[str] | None,
    units: list[str] | None,
    started: str | None = None,
    dates: str | None = None,
    timezone: str | None = None,
    lateral_positive: str | None = None,
    circuit: str | None = None,
) -> Instructions:
    """Return what the options say of how logs are to be read.

    Raises:
        typer.BadParameter: one of them cannot be understood.
        SettingsError: there is no such profile.
        RegisterError: the circuit cannot be kept by such a name.
    """
    named = settings.profile_named(profile) if profile else Profile()
    said = {"dates": dates, "timezone": timezone, "lateral_positive": lateral_positive}
    try:
        over = Profile.model_validate({name: value for name, value in said.items() if value})
        made = Instructions(
            engine_id=engine_id,
            profile=named.overlaid(over),
            profile_name=profile,
            profiles=settings.profile,
            columns=pairs(columns, "--map"),
            units=pairs(units, "--unit"),
            started=instant(started, "--started", None) if started else None,
            zone=zone(settings.timezone),
            circuit=circuit_name(circuit or ""),
        )
        made.check()
    except ValidationError as error:
        # Of what stands in a profile, only a time zone is free text on the command line.
        raise typer.BadParameter(
            f"{timezone!r} is no time zone; write it like Europe/Paris", param_hint="--timezone"
        ) from error
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error
    return made
