"""babbitt change: alterations of an engine, and what they did."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    NoteOption,
    open_from,
    out,
    past_instant,
    print_json,
    who,
)
from babbitt.model.kinds import KINDS
from babbitt.model.records import SORTS_OF_CHANGE
from babbitt.present.words import NOTHING, number, reader_of, table
from babbitt.register.records import alterations

if TYPE_CHECKING:
    from babbitt.outlook.effect import Rates

app = typer.Typer(help="Changes: alterations of an engine or its car, and what they did.")


@app.command("record")
def record(
    context: typer.Context,
    engine_id: Annotated[str, typer.Argument(metavar="ENGINE_ID", help="The engine.")],
    what: Annotated[str, typer.Argument(metavar="WHAT", help="What was changed, in words.")],
    sort: Annotated[
        str, typer.Option("--sort", metavar="S", help=f"One of {', '.join(SORTS_OF_CHANGE)}.")
    ],
    at: Annotated[str, typer.Option("--at", metavar="WHEN", help="When; later runs are after it.")],
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Write down that an engine or its car was altered."""
    book = open_from(context, logbook)
    when = past_instant(at, "--at", reader_of(book.settings).timezone)
    with book.register.writing(who()) as session:
        made = alterations.record_change(
            session, engine_id, at=when, sort=sort, what=what, reason=note
        )
    out.print(
        f"Change {made.change_id} of {engine_id}: {made.what}. Once there are runs after it: "
        f"`babbitt change effect {made.change_id}`."
    )


@app.command("list")
def list_changes(
    context: typer.Context,
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine's; else all.")
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the changes, oldest first."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        found = alterations.list_changes(session, engine_id)
    if as_json:
        print_json([asdict(each) for each in found])
        return
    if not found:
        out.print("No change was written down yet: `babbitt change record ENGINE_ID WHAT`.")
        return
    reader = reader_of(book.settings)
    listing = table("", "number", "engine", "when", "sort", "what", left=5)
    for each in found:
        when = reader.instant(each.at)
        listing.add_row(f"{each.change_id}", each.engine_id, when, each.sort, each.what)
    out.print(listing)


@app.command("effect")
def effect(
    context: typer.Context,
    change_id: Annotated[int, typer.Argument(metavar="NUMBER", help="Of the change.")],
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Compare harm before a change with harm after it, at circuits of both."""
    from babbitt.jobs.effect import effect_of  # scipy, which it needs, is slow to import

    found = effect_of(open_from(context, logbook), change_id)
    if as_json:
        print_json(
            {
                "change": asdict(found.change),
                "circuits": found.circuits,
                "runs": {"before": found.before.runs, "after": found.after.runs},
                "per": found.per,
                "kinds": {kind: _as_json(rates) for kind, rates in found.rates.items()},
            }
        )
        return
    places = ", ".join(name or "no named circuit" for name in found.circuits)
    out.print(
        f"{found.change.what}: {found.before.runs} runs before it and {found.after.runs} after, "
        f"at {places}. Rates are events per {found.per}; intervals are of 90 %."
    )
    listing = table("", "harm", "before", "after", "after over before", "90 %", "verdict", left=1)
    for kind, rates in found.rates.items():
        listing.add_row(
            KINDS[kind].title,
            f"{rates.before} in {number(rates.before_over)}",
            f"{rates.after} in {number(rates.after_over)}",
            NOTHING if rates.ratio is None else number(rates.ratio),
            f"{number(rates.low)} to {_end(rates.high)}",
            rates.word,
        )
    out.print(listing)


def _end(value: float) -> str:
    return "any" if value == float("inf") else number(value)


def _as_json(rates: Rates) -> dict[str, object]:
    return asdict(rates) | {"high": None if rates.high == float("inf") else rates.high}
