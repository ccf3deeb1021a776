"""babbitt events and review: what harmed an engine, and whether it was real."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    open_from,
    out,
    print_json,
    who,
)
from babbitt.model.event import Event, Verdict
from babbitt.model.kinds import KINDS, Kind
from babbitt.present.views.event_words import cause_words, direction_words, reasons_in_words
from babbitt.present.words import NOTHING, Reader, clock, duration, reader_of, short, table
from babbitt.register import Session
from babbitt.register.records import events as records
from babbitt.register.records import layouts, runs


def events(
    context: typer.Context,
    engine: EngineFilter = None,
    run: Annotated[
        str | None, typer.Option(metavar="ID", help="Only this run's; the beginning will do.")
    ] = None,
    kind: Annotated[Kind | None, typer.Option(help="Only this kind.")] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the harmful events, oldest first."""
    if kind is not None and kind not in KINDS:
        known = ", ".join(KINDS)
        raise typer.BadParameter(
            f"{kind!r} is no kind of harm: it is one of {known}", param_hint="--kind"
        )
    book = open_from(context, logbook)
    with book.register.reading() as session:
        found = records.list_events(session, engine_id=engine, run_id=run, kind=kind)
        inside = [dated.event for dated in found if dated.event.corner is not None]
        said = _by_place(session, inside) if inside and not as_json else ()
    if as_json:
        print_json([asdict(dated.event) | {"at": dated.at} for dated in found])
        return
    if not found:
        out.print("No harmful events found.")
        return
    reader = reader_of(book.settings)
    listing = table(
        "",
        "event",
        "engine",
        "when",
        "what",
        "at",
        "for",
        "worst",
        "dose",
        "review",
        left=4,
    )
    for dated in found:
        event = dated.event
        listing.add_row(
            short(event.event_id),
            event.engine_id,
            reader.instant(dated.at),
            _what(event),
            clock(event.start_s),
            duration(event.duration_s),
            " ".join(reader.value(event.peak, event.peak_unit)),
            " ".join(reader.dose(event.dose, event.dose_unit)),
            (event.review or NOTHING).replace("_", " "),
        )
    out.print(listing)
    for line in said:
        out.print(line)


def _by_place(session: Session, found: Sequence[Event]) -> tuple[str, ...]:
    """Say in which corners harm was, a circuit after the other."""
    from babbitt.present.place_words import hit_corners  # numpy, which it needs, is slow to import

    there = layouts.layouts_of(session, {event.run_id for event in found})
    circuits = {run_id: runs.find_run(session, run_id).circuit for run_id in there}
    said = []
    for circuit in sorted({name for name in circuits.values() if name}):
        here = {run_id: layout for run_id, layout in there.items() if circuits[run_id] == circuit}
        names = layouts.corner_names(session, circuit)
        said += [f"{circuit}. {each}" for each in hit_corners(found, here, names)]
    return tuple(said)


def review(
    context: typer.Context,
    event_id: Annotated[
        str, typer.Argument(metavar="EVENT_ID", help="An event, or the beginning of its id.")
    ],
    verdict: Annotated[Verdict, typer.Argument(help="Your word on it.")],
    note: Annotated[str, typer.Option(metavar="T", help="What you saw.")] = "",
    logbook: LogbookOption = None,
) -> None:
    """Say whether an event is real; a sensor fault or a harmless one leaves the totals."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        event = records.add_review(session, event_id, verdict, note).event
    counts = "it counts" if verdict == "confirmed" else "it counts no more"
    out.print(
        f"Event {event.event_id} ({sentence(event, reader_of(book.settings))}): "
        f"{verdict.replace('_', ' ')}, {counts}."
    )


def sentence(event: Event, reader: Reader) -> str:
    """Return an event in words: what, where in its run, how long and how bad."""
    worst = " ".join(reader.value(event.peak, event.peak_unit))
    return (
        f"{_what(event)} at {clock(event.start_s)} for {duration(event.duration_s)}, worst {worst}"
    )


def _what(event: Event) -> str:
    """Return the kind of an event, and what else is known: cause, side, place, doubts."""
    parts = [
        KINDS[event.kind].title,
        cause_words(event),
        direction_words(event),
        "" if event.lap is None else f"lap {event.lap}",
        "" if event.corner is None else f"corner {event.corner}",
        "cut off by a gap" if event.ended_by == "gap" else "",
        f"unsure: {reasons_in_words(event.confidence)}" if event.confidence.reasons else "",
    ]
    return ", ".join(part for part in parts if part)
