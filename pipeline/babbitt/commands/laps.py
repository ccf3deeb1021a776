"""babbitt lap and corner: where on a circuit a run was, and what its corners are called."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from typing import Annotated

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    NoteOption,
    open_from,
    out,
    print_json,
    who,
)
from babbitt.errors import RegisterError
from babbitt.model.circuit import known_in_words
from babbitt.model.event import NOT_COUNTED
from babbitt.present.words import NOTHING, number, table
from babbitt.register.records import events, layouts, runs
from babbitt.register.records.circuits import circuits_known

laps_app = typer.Typer(help="Laps of a run: their times, and the harm in each.")
corners_app = typer.Typer(help="Corners of a circuit: list them, and name them.")

CircuitArgument = Annotated[str, typer.Argument(metavar="CIRCUIT", help="The circuit.")]


@laps_app.callback()
def _laps() -> None:
    """Keep `list` a command of its own."""


@laps_app.command("list")
def list_laps(
    context: typer.Context,
    run_id: Annotated[
        str, typer.Argument(metavar="RUN_ID", help="A run, or the beginning of its id.")
    ],
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the laps of a run, with the harm in each."""
    # numpy, which layouts need, is slow to import
    from babbitt.present.place_words import hit_corners, lap_time, laps_in_words

    book = open_from(context, logbook)
    with book.register.reading() as session:
        record = runs.find_run(session, run_id)
        layout = layouts.layout_of(session, record.run_id)
        found = [each.event for each in events.list_events(session, run_id=record.run_id)]
        names = layouts.corner_names(session, record.circuit) if record.circuit else {}
    if as_json:
        print_json(
            None if layout is None else asdict(layout) | {"names": names, "run_id": record.run_id}
        )
        return
    if layout is None:
        out.print(
            f"Run {record.run_id} has no laps: it was on no circuit that repeats, or its log has "
            "nothing that tells."
        )
        return
    counting = [event for event in found if event.review not in NOT_COUNTED]
    listing = table("", "lap", "", "began", "time", "length, m", "harmful events", left=2)
    for lap in layout.laps:
        inside = [e for e in counting if lap.start_s <= e.start_s < lap.end_s]
        listing.add_row(
            f"{lap.number}",
            "" if lap.kind == "lap" else lap.kind,
            lap_time(lap.start_s),
            lap_time(lap.end_s - lap.start_s),
            NOTHING if lap.length_m is None else f"{lap.length_m:,.0f}",
            f"{len(inside) or NOTHING}",
        )
    out.print(listing)
    for sentence in (laps_in_words(layout), *hit_corners(found, {record.run_id: layout}, names)):
        out.print(sentence)


@corners_app.command("list")
def list_corners(
    context: typer.Context,
    circuit: CircuitArgument,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the corners of a circuit along the lap, with the harm in each."""
    from babbitt.present.place_words import hit_corners

    book = open_from(context, logbook)
    with book.register.reading() as session:
        course = layouts.course_at(session, circuit)
        known = circuits_known(session)
        records = runs.list_runs(session, circuit=circuit)
        names = layouts.corner_names(session, circuit)
        there = layouts.layouts_of(session, [record.run_id for record in records])
        found = [
            each.event
            for run_id in there
            for each in events.list_events(session, run_id=run_id)
            if each.event.review not in NOT_COUNTED
        ]
    if course is None:
        raise RegisterError(f"No run with laps was at {circuit}. {known_in_words(known)}")
    harm = Counter(event.corner for event in found)
    if as_json:
        rows = [
            asdict(corner) | {"name": names.get(corner.number), "events": harm[corner.number]}
            for corner in course.corners
        ]
        print_json(rows)
        return
    columns = ("corner", "name", "turns", "from, %", "length, m", "km/h", "g", "harmful events")
    listing = table("", *columns, left=3)
    for corner in course.corners:
        listing.add_row(
            f"{corner.number}",
            names.get(corner.number, NOTHING),
            corner.direction,
            f"{100 * corner.start:.0f}",
            NOTHING if corner.length_m is None else f"{corner.length_m:.0f}",
            NOTHING if corner.speed_km_h is None else f"{corner.speed_km_h:.0f}",
            number(corner.lateral_g),
            f"{harm[corner.number] or NOTHING}",
        )
    out.print(listing)
    for sentence in hit_corners(found, there, names):
        out.print(sentence)


@corners_app.command("name")
def name_corner(
    context: typer.Context,
    circuit: CircuitArgument,
    corner: Annotated[int, typer.Argument(metavar="NUMBER", help="Of the corner.")],
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its name; '' takes it away.")],
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Call a corner of a circuit by a name."""
    book = open_from(context, logbook)
    with book.register.writing(who()) as session:
        layouts.name_corner(session, circuit, corner, name, note)
        said = layouts.corner_names(session, circuit).get(corner)
    called = "has no name now" if said is None else f"is called {said} now"
    out.print(f"Corner {corner} of {circuit} {called}; `babbitt undo` undoes it.")
