"""The register as its page tells it: engines, builds, parts with where they are, the journal."""

from __future__ import annotations

from dataclasses import dataclass

from babbitt.errors import SettingsError
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import part_named
from babbitt.model.part_records import (
    AsBuilt,
    FitmentRecord,
    HistoryRecord,
    PartPlace,
    PartRecord,
    PartService,
    PartSums,
    WorkRecord,
)
from babbitt.model.records import Build, EngineRecord, JournalEntry
from babbitt.present.words import NOTHING, Reader, as_measured
from babbitt.register.journal import entries
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import next_redo, next_undo
from babbitt.register.queries.as_built import as_built
from babbitt.register.queries.part_sums import near_service, part_sums
from babbitt.register.queries.places import where_now
from babbitt.register.records import builds, engines, fitments, history, parts, work
from babbitt.register.records.engines import spec_text_of

AS_BUILT = ("part", "at", "measured", "unit", "now", "least", "most", "before", "change")
"""Heads of what a build measured."""


def as_built_cells(each: AsBuilt) -> list[str]:
    """Return a measurement of a build beside the one before; see `AS_BUILT`."""
    newest, now, before = each.now or each.before, each.now, each.before
    row = (
        now.value if now else None,
        now.low if now else None,
        now.high if now else None,
        before.value if before else None,
    )
    change = NOTHING if each.change is None else as_measured(round(each.change, 9) + 0.0, row)
    return [
        part_named(each.part).title if each.part else NOTHING,
        each.position or NOTHING,
        each.name,
        newest.unit if newest else "",
        *(as_measured(value, row) for value in row),
        f"+{change}" if each.change is not None and each.change > 0.0 else change,
    ]


ENGINES = ("engine", "type", "built", "last refresh", "last run", "refreshes", "runs")
"""Heads of the list of engines."""


def engine_cells(record: EngineRecord, reader: Reader) -> list[str]:
    """Return an engine of the list; see `ENGINES`."""
    try:
        kind = record.spec.engine.type
    except SettingsError:
        kind = "limits cannot be used"
    return [
        record.engine_id,
        kind,
        reader.day(record.built_at),
        reader.day(record.last_refresh),
        reader.day(record.last_run),
        str(record.refreshes),
        f"{record.runs:,}",
    ]


@dataclass(frozen=True)
class EngineBuilds:
    """The builds of an engine.

    Attributes:
        builds: the newest first.
        measured: what the newest measured, beside the one before.
    """

    builds: tuple[Build, ...]
    measured: tuple[AsBuilt, ...]


@dataclass(frozen=True)
class PartLine:
    """A part, where it is, and what it ran.

    Attributes:
        place: where it is now.
        running_s: what it ran in all, s.
        runs: that it was in.
        service: its use against the service limit of its kind; None: there is none.
    """

    place: PartPlace
    running_s: float
    runs: int
    service: PartService | None


@dataclass(frozen=True)
class PartLife:
    """All that the register knows of a part.

    Attributes:
        part: the part.
        fitments: where it sat, the newest first.
        work: what was done to it outside, the newest first.
        history: what it ran before it came into the logbook.
    """

    part: PartRecord
    fitments: tuple[FitmentRecord, ...]
    work: tuple[WorkRecord, ...]
    history: tuple[HistoryRecord, ...]


@dataclass(frozen=True)
class JournalLine:
    """An entry of the journal, with what it did in words."""

    entry: JournalEntry
    words: str


@dataclass(frozen=True)
class Journal:
    """The journal's newest entries.

    Attributes:
        lines: the newest first.
        undo: the entry that an undo would take back; None: there is none.
        redo: the entry that a redo would do again; None: there is none.
    """

    lines: tuple[JournalLine, ...]
    undo: JournalEntry | None
    redo: JournalEntry | None


def engine_list(book: Logbook) -> tuple[EngineRecord, ...]:
    """Return the engines of a logbook, in the order of their ids."""
    with book.register.reading() as session:
        return engines.list_engines(session)


def limits_text(book: Logbook, engine_id: str) -> str:
    """Return the spec of an engine that is in force, as it was written.

    Raises:
        RegisterError: no such engine.
    """
    with book.register.reading() as session:
        return spec_text_of(session, engine_id)


def engine_builds(book: Logbook, engine_id: str) -> EngineBuilds:
    """Return the builds of an engine.

    Raises:
        RegisterError: no such engine.
    """
    with book.register.reading() as session:
        found = builds.builds_of(session, engine_id)
        return EngineBuilds(tuple(reversed(found)), as_built(session, engine_id))


def part_lines(book: Logbook) -> tuple[PartLine, ...]:
    """Return every part, where it is now, and what it ran, in the order of their ids."""
    with book.register.reading() as session:
        places = where_now(session)
        sums = part_sums(session)
    ran = {each.part.part_id: each for each in sums}
    services = {each.part.part_id: each for each in near_service(sums, book.settings.service)}
    return tuple(_line(place, ran, services) for place in places)


def part_life(book: Logbook, part_id: str) -> PartLife:
    """Return all that the register knows of a part.

    Raises:
        RegisterError: no such part.
    """
    with book.register.reading() as session:
        part = parts.find_part(session, part_id)
        return PartLife(
            part,
            tuple(reversed(fitments.list_fitments(session, part_id=part.part_id))),
            tuple(reversed(work.list_work(session, part_id=part.part_id))),
            tuple(each for each in history.list_history(session) if each.part_id == part.part_id),
        )


def journal_of(book: Logbook, reader: Reader, *, limit: int) -> Journal:
    """Return the newest entries of the journal.

    Args:
        book: the logbook.
        reader: whose time zone is used in the sentences.
        limit: how many at most.
    """
    with book.register.reading() as session:
        found = entries.journal(session, limit=limit)
        undo, redo = next_undo(session), next_redo(session)
    return Journal(
        tuple(JournalLine(entry, sentence(entry, reader.instant)) for entry in found), undo, redo
    )


def where_is(place: PartPlace, reader: Reader) -> str:
    """Return where a part is, in words."""
    if place.fitment is not None:
        position = f", {place.fitment.position}" if place.fitment.position else ""
        return f"{place.fitment.engine_id}{position}"
    if place.work is not None:
        due = f", due {reader.day(place.work.due)}" if place.work.due else ""
        return f"out at {place.work.shop}: {place.work.what}{due}"
    return "on the shelf"


def _line(place: PartPlace, ran: dict[str, PartSums], services: dict[str, PartService]) -> PartLine:
    part_id = place.part.part_id
    sums = ran[part_id].sums if part_id in ran else None
    return PartLine(
        place,
        sums.running_s if sums else 0.0,
        sums.runs if sums else 0,
        services.get(part_id),
    )
