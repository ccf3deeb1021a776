"""babbitt match: how far each cause accounts for what a teardown found."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC
from typing import TYPE_CHECKING, Annotated

import typer

from babbitt.commands.common import JsonOption, LogbookOption, instant, open_from, out, print_json
from babbitt.model.damage_modes import causes, mode_named
from babbitt.present.words import NOTHING, Reader, reader_of, share, short, table

if TYPE_CHECKING:
    from babbitt.damage.attribution import Match
    from babbitt.damage.blame import Blame
    from babbitt.jobs.attribute import TeardownMatch

_EVENTS = 3
"""Events shown behind a cause; --json has them all."""

_LEAST_SHOWN = 0.05
"""Share of a cause that is listed; what is not in the log always is."""

_NARROWEST = 24
"""Columns of that list, which breaks its lines where the others need the room."""


def match(
    context: typer.Context,
    engine_id: Annotated[str, typer.Argument(metavar="ENGINE_ID", help="The engine.")],
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="WHEN", help="Its newest teardown by then, not the newest."),
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Say how far each cause accounts for the damage that a teardown found, and what to recheck."""
    # scipy, which the damage model needs, is slow to import
    from babbitt.jobs.attribute import match_teardown

    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    when = instant(at, "--at", reader.timezone).astimezone(UTC) if at else None
    found = match_teardown(book, engine_id, at=when)
    if as_json:
        print_json([each.to_json() for each in found.matches])
    else:
        print_match(found, reader)


def print_match(found: TeardownMatch, reader: Reader) -> None:
    """Print a teardown's findings of damage with their causes, and what to look at again."""
    from babbitt.damage.attribution import alike
    from babbitt.present.blame_words import look_again_sentence, match_sentence
    from babbitt.present.words import place

    teardown, count = found.teardown, len(found.matches) + len(found.unjudged)
    out.print(
        f"{teardown.engine_id}, taken apart on {reader.day(teardown.at)}: {count or 'no'} "
        f"finding{'' if count == 1 else 's'} of damage.",
        style="bold",
    )
    for group in alike(found.matches):
        out.print()
        out.print(match_sentence(group, reader, found.rpm_at))
        out.print(_causes(group))
    for record in found.unjudged:
        finding = record.finding
        mode = mode_named(finding.part, finding.damage_mode or "")
        out.print(
            f"{place(finding.part, (finding.position,))} {mode.title}: not judged, [life] of the "
            "spec states no dose for one of its causes."
        )
    if found.look_again:
        out.print("Look again:", style="bold")
    for suspect in found.look_again:
        out.print(f"- {look_again_sentence(suspect, reader, found.rpm_at)}")


def _causes(group: Sequence[Match]) -> object:
    first = group[0]
    listing = table("", "cause", "share", "90 %", "events, the worst first")
    behind = listing.columns[3]
    behind.justify, behind.no_wrap, behind.min_width = "left", False, _NARROWEST
    for blame in first.blames:
        if blame.share.p >= _LEAST_SHOWN or blame.cause not in causes():
            listing.add_row(
                _title(blame),
                share(blame.share.p),
                f"{100 * blame.share.low:.0f}-{100 * blame.share.high:.0f} %",
                _events(blame),
            )
    listing.caption = f"{first.looks} looks in the fleet, {first.damaged} of them damaged"
    listing.caption_justify = "left"
    return listing


def _title(blame: Blame) -> str:
    return causes()[blame.cause].title if blame.cause in causes() else "not in the log"


def _events(blame: Blame) -> str:
    named = " ".join(short(each.dated.event.event_id) for each in blame.events[:_EVENTS])
    more = len(blame.events) - _EVENTS
    return (f"{named} and {more} more" if more > 0 else named) or NOTHING
