"""When a log starts: by the user, by its own clock and notes, or by the file's date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from babbitt.ingest.source import Instructions, ReadSource
from babbitt.ingest.time.clock import Timeline, local_time
from babbitt.ingest.time.dates import Moment, ambiguous_date, read_date
from babbitt.model.run import StartBasis


@dataclass(frozen=True)
class Start:
    """When a log starts.

    Attributes:
        at: UTC.
        basis: the log's own clock, stated by the user, or the file's modification time.
        why: on what grounds, a line each.
        warnings: what should be settled, a sentence each.
    """

    at: datetime
    basis: StartBasis
    why: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def find_start(
    timeline: Timeline, note: Moment | None, source: ReadSource, instructions: Instructions
) -> Start:
    """Find when the first row of a log was recorded.

    A start that the user states wins. The log's own is the first stamp with a date; a clock time
    with the date of a note; or, where the rows count time elapsed, the date and clock time of the
    notes. What is still missing is taken from the file's modification time, with a warning.

    Args:
        timeline: the rows of the log.
        note: the start as the lines above the header state it.
        source: the log.
        instructions: what the user and the profile say.

    Raises:
        LogRefusedError: the day and month of the date that decides may be swapped.
    """
    stated = instructions.started_at()
    if stated is not None:
        return Start(stated.astimezone(UTC), "stated", ("Start: as stated.",))
    noted_s = None if note is None else note.clock_s
    clock_s = noted_s if timeline.says == "elapsed" else timeline.first_s
    day = timeline.day or _day_of(note, source, instructions)
    named = timeline.zone or (None if note is None else note.zone)
    zone = named or instructions.clock_zone()
    changed = source.modified_at.astimezone(zone)
    if clock_s is not None:
        basis: StartBasis = "file" if day is None else "log"
        local = local_time(day or _day_by_file(clock_s, changed), clock_s)
        why = [f"Start: {local.isoformat(' ', 'milliseconds')}, by {_where(timeline, note)}."]
        if named is None:
            why.append(f"Zone: none named; the clock is taken to be that of {zone}.")
        # A log that shows the change began before it.
        warnings = () if timeline.clock_changed else _read_twice(local, zone)
        if day is None:
            warnings = (_no_start("date", f"the file's own ({local:%Y-%m-%d})"), *warnings)
        return Start(local.replace(tzinfo=zone).astimezone(UTC), basis, tuple(why), warnings)
    if day is not None and changed.date() != day:
        midnight = local_time(day, 0.0).replace(tzinfo=zone).astimezone(UTC)
        return Start(midnight, "log", (), (_no_start("time of day", "midnight"),))
    taken = f"the file's own date ({changed:%Y-%m-%d %H:%M}, {zone})"
    what = "start" if day is None else "time of day"
    return Start(changed.astimezone(UTC), "file", (), (_no_start(what, taken),))


def _day_of(note: Moment | None, source: ReadSource, instructions: Instructions) -> date | None:
    if note is None or not note.date:
        return None
    order = instructions.profile.dates if instructions.profile is not None else None
    readings = read_date(note.date, order)
    if len(readings) > 1:
        raise ambiguous_date(note.date, readings, note.line, source.name)
    return readings[0] if readings else None


def _day_by_file(clock_s: float, changed: datetime) -> date:
    """Return the day of a clock time that lies at most a day before the file was last changed."""
    today = changed.date()
    at = local_time(today, clock_s).replace(tzinfo=changed.tzinfo)
    return today - timedelta(days=1) if at > changed else today


def _where(timeline: Timeline, note: Moment | None) -> str:
    if timeline.says == "date" or note is None:
        return "its first row"
    if timeline.says == "elapsed" or not note.date:
        return f"line {note.line}"
    return f"its first row and the date in line {note.line}"


def _read_twice(local: datetime, zone: tzinfo) -> tuple[str, ...]:
    """Warn of a start in an hour that daylight saving makes come twice, or never."""
    at = local.replace(tzinfo=zone)
    if at.utcoffset() == at.replace(fold=1).utcoffset():
        return ()
    read_as = f"{at.astimezone(UTC):%H:%M} UTC"
    said = f"Clocks in {zone} were changed in the hour of the start ({local:%H:%M})"
    return (f"{said}; it is read as {read_as}: state the start to settle it.",)


def _no_start(what: str, taken: str) -> str:
    return f"The log names no {what}; {taken} was taken: state the start to settle it."
