"""babbitt part: tracked parts, the engines they sit in, and the shops they are out at."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    NoteOption,
    instant,
    open_from,
    out,
    past_instant,
    print_json,
    who,
)
from babbitt.model.damage_modes import part_named
from babbitt.present.views.register import where_is
from babbitt.present.words import NOTHING, duration, reader_of, table
from babbitt.register.queries.places import where_now
from babbitt.register.records import fitments, history, parts, work

app = typer.Typer(
    help="Parts: add, fit and remove them, send them out for work, see where they are."
)

PartArgument = Annotated[
    str, typer.Argument(metavar="PART_ID", help="Serial, or label of the batch.")
]
AtOption = Annotated[str, typer.Option("--at", metavar="WHEN", help="Date, or date and time.")]
PositionOption = Annotated[
    str | None,
    typer.Option("--position", metavar="P", help="Cylinder, journal or side; none: the only one."),
]
KindOption = Annotated[
    str, typer.Option("--kind", metavar="K", help="What it is, like rod_bearing.")
]


@app.command("add")
def add(
    context: typer.Context,
    part_id: PartArgument,
    kind: KindOption,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Put a part on the shelf."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        part = parts.add_part(session, part_id, kind, note=note)
    out.print(f"{part_named(part.kind).title} {part.part_id} is on the shelf.")


@app.command("list")
def list_parts(
    context: typer.Context,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="K", help="Only parts of this kind.")
    ] = None,
    engine: EngineFilter = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the parts and where they are now."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        wanted = None if kind is None else {p.part_id for p in parts.list_parts(session, kind=kind)}
        places = [
            place
            for place in where_now(session)
            if (wanted is None or place.part.part_id in wanted)
            and (engine is None or (place.fitment and place.fitment.engine_id == engine))
        ]
    if as_json:
        print_json([asdict(place) for place in places])
        return
    if not places:
        out.print("No such parts: add one with `babbitt part add PART_ID --kind K`.")
        return
    reader = reader_of(book.settings)
    listing = table("", "part", "kind", "where", "since", "note", left=5)
    for place in places:
        spot = place.fitment or place.work
        listing.add_row(
            place.part.part_id,
            part_named(place.part.kind).title,
            where_is(place, reader),
            reader.day(spot.since) if spot else NOTHING,
            place.part.note,
        )
    out.print(listing)


@app.command("fit")
def fit(
    context: typer.Context,
    part_id: PartArgument,
    engine: Annotated[str, typer.Option("--engine", metavar="ID", help="The engine it goes in.")],
    at: AtOption,
    position: PositionOption = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="WHEN", help="When it came out again.")
    ] = None,
    replacing: Annotated[
        bool, typer.Option("--replacing", help="Remove what sits there at the same instant.")
    ] = False,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Fit a part to an engine."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    with book.register.writing(who()) as session:
        fitment = fitments.fit_part(
            session,
            part_id,
            engine,
            at=past_instant(at, "--at", reader.timezone),
            position=position,
            until=past_instant(until, "--until", reader.timezone) if until else None,
            replacing=replacing,
            reason=note,
        )
    place = f" at {position}" if position else ""
    out.print(
        f"{fitment.part_id} sits in {fitment.engine_id}{place} from {reader.day(fitment.since)}."
    )


@app.command("remove")
def remove(
    context: typer.Context,
    part_id: PartArgument,
    at: AtOption,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Remove a part from the engine that it is in."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    with book.register.writing(who()) as session:
        fitment = fitments.remove_part(
            session, part_id, at=past_instant(at, "--at", reader.timezone), reason=note
        )
    out.print(f"{fitment.part_id} came out of {fitment.engine_id} on {reader.day(fitment.until)}.")


@app.command("out")
def send_out(
    context: typer.Context,
    part_id: PartArgument,
    shop: Annotated[str, typer.Option("--to", metavar="SHOP", help="Where it goes.")],
    what: Annotated[str, typer.Option("--for", metavar="WORK", help="What is to be done.")],
    at: AtOption,
    due: Annotated[
        str | None, typer.Option("--due", metavar="WHEN", help="When it is promised back.")
    ] = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Send a part out for work."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    with book.register.writing(who()) as session:
        sent = work.send_out(
            session,
            part_id,
            shop=shop,
            what=what,
            since=past_instant(at, "--at", reader.timezone),
            due=instant(due, "--due", reader.timezone) if due else None,
            reason=note,
        )
    promised = f", due back {reader.day(sent.due)}" if sent.due else ""
    out.print(f"{sent.part_id} is out at {sent.shop}: {sent.what}{promised}.")


@app.command("back")
def take_back(
    context: typer.Context,
    part_id: PartArgument,
    at: AtOption,
    result: Annotated[str, typer.Option("--result", metavar="T", help="What was done and found.")],
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Take a part back from work."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    with book.register.writing(who()) as session:
        taken = work.take_back(
            session,
            part_id,
            at=past_instant(at, "--at", reader.timezone),
            result=result,
            reason=note,
        )
    out.print(f"{taken.part_id} is back from {taken.shop}: {taken.result}.")


@app.command("history")
def add_history(
    context: typer.Context,
    part_id: PartArgument,
    hours: Annotated[float, typer.Option("--hours", metavar="H", help="How long it had run.")],
    until: Annotated[str, typer.Option("--until", metavar="WHEN", help="All of it before then.")],
    revolutions: Annotated[
        float | None, typer.Option("--revolutions", metavar="N", help="If known.")
    ] = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Write down what a part ran before it came into the logbook."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        added = history.add_part_history(
            session,
            part_id,
            running_s=hours * 3600.0,
            until=past_instant(until, "--until", reader_of(book.settings).timezone),
            revolutions=revolutions,
            note=note,
        )
    out.print(f"{added.part_id} had run {duration(added.running_s)} before.")
