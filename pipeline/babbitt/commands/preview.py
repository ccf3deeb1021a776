"""babbitt preview: what a log holds, before anything is stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    logbook_folder,
    out,
    print_json,
    settings_from,
)
from babbitt.commands.reading import (
    DatesOption,
    LateralOption,
    MapOption,
    ProfileOption,
    StartedOption,
    TimezoneOption,
    UnitOption,
    instructions_from,
)
from babbitt.ingest.log_bytes import open_log
from babbitt.ingest.preview import ColumnView, LogPreview, preview_log
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.ingest.text.profile_text import profile_text
from babbitt.logbook.folder import save_profile, saying_what_failed
from babbitt.logbook.settings import Profile, Settings
from babbitt.model.run import Run, RunOutline
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.present.remedies import doubt_sentence, in_terminal, options_text
from babbitt.present.words import NOTHING, Reader, duration, number, reader_of, share, table, trace
from babbitt.sensors.doubts import as_logged, doubts_of
from babbitt.sensors.summary import summarise
from babbitt.sensors.thin import Thinner

_NEW_PROFILE = "my-logger"
"""Name of a profile made ready to save."""


def preview(
    context: typer.Context,
    log: Annotated[Path, typer.Argument(metavar="LOG", help="A CSV log.")],
    started: StartedOption = None,
    profile: ProfileOption = None,
    units: UnitOption = None,
    columns: MapOption = None,
    dates: DatesOption = None,
    timezone: TimezoneOption = None,
    lateral_positive: LateralOption = None,
    save: Annotated[
        str | None,
        typer.Option(
            "--save-profile",
            metavar="NAME",
            help="Keep what was given in logbook.toml, for every log of this kind.",
        ),
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Show what would be read from a log, before anything is stored; needs no logbook."""
    settings = settings_from(context, logbook)
    instructions = instructions_from(
        settings,
        profile=profile,
        columns=columns,
        units=units,
        started=started,
        dates=dates,
        timezone=timezone,
        lateral_positive=lateral_positive,
    )
    doubts: list[SensorDoubt] = []

    def passing(run: RunOutline, parts: Iterator[Run]) -> Iterator[Run]:
        thinner = Thinner(run.samples, run.duration_s)
        yield from thinner.passing(parts)
        doubts.extend(doubts_of(summarise(thinner.thinned()), (), as_logged(run.info.conversions)))

    with saying_what_failed(f"cannot read {log}"), open_log(log) as data:
        modified_at = datetime.fromtimestamp(data.modified_ns / 1e9, UTC)
        source = ReadSource(log.name, data.open, "", modified_at)
        found = preview_log(source, instructions, passing=passing)
    said = tuple(doubt_sentence(doubt, "RUN_ID") for doubt in doubts)
    found = replace(found, warnings=(*found.warnings, *said))
    settled = _settled(found, instructions)
    if save is not None:
        save_profile(logbook_folder(context, logbook), save, profile_text(save, settled))
    name = save or found.profile_name or _NEW_PROFILE
    ready = profile_text(name, settled, found)
    if as_json:
        fields = asdict(found) | {"profile": ready, "options": _options(found)}
        del fields["remedies"]
        print_json(fields)
        return
    _print_preview(found, reader_of(settings))
    if save is not None:
        _say_saved(save, found, settings)
        return
    out.print("\nTo keep what you settle for this kind of log, add --save-profile NAME,")
    out.print("or put this in logbook.toml:\n")
    out.print(ready)


def _options(found: LogPreview) -> list[str]:
    options = options_text(found.remedies)
    return [options] if options else []


def _say_saved(name: str, found: LogPreview, settings: Settings) -> None:
    rivals = [
        each
        for each, profile in settings.profile.items()
        if profile.fingerprint == found.fingerprint
    ]
    if rivals:
        these = " and ".join([*rivals, name])
        out.print(f"\nSaved; {these} now know this kind of log: say which is meant with --profile.")
    else:
        out.print(f"\nSaved as [profile.{name}]: this kind of log is known by it from now on.")


def _settled(found: LogPreview, instructions: Instructions) -> Profile:
    """Return the profile of what holds for every log of this kind."""
    name = found.profile_name
    base = instructions.profiles[name] if name is not None else Profile()
    said = Profile(
        columns=dict(instructions.columns),
        units=dict(instructions.units),
        fingerprint=found.fingerprint,
    )
    return base.overlaid(instructions.profile or Profile()).overlaid(said)


def _remark(column: ColumnView) -> str:
    missing = f"{share(column.share_missing)} missing" if column.share_missing else ""
    return "; ".join(part for part in (missing, column.remark) if part)


def _print_preview(found: LogPreview, reader: Reader) -> None:
    start = f"began {reader.instant(found.started_at)}" if found.started_at else "start unknown"
    lasted = f", lasted {duration(found.duration_s)}" if found.duration_s is not None else ""
    out.print(f"{found.source_name}: {found.rows:,} rows, {start}{lasted}.")
    for line in found.dialect:
        out.print(f"- {line}")
    listing = table(
        "",
        "header",
        "channel",
        "unit",
        "known by",
        "rate",
        "lowest",
        "trace",
        "highest",
        "remark",
        left=4,
    )
    listing.columns[-1].justify = "left"
    for column in found.columns:
        listing.add_row(
            column.header,
            column.name,
            column.unit or "?",
            column.unit_basis or NOTHING,
            NOTHING if column.rate_hz is None else f"{number(column.rate_hz)} Hz",
            NOTHING if column.low is None else number(column.low),
            trace(column.trace),
            NOTHING if column.high is None else number(column.high),
            _remark(column),
        )
    out.print(listing)
    for warning in found.warnings:
        out.print(f"- {warning}")
    if found.problems:
        out.print("It would be refused:")
        for problem in found.problems:
            out.print(f"- {problem}")
        for line in in_terminal(found.remedies):
            out.print(f"  {line}", soft_wrap=True)
    else:
        out.print("It would be taken in.")
