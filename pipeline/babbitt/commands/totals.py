"""babbitt totals: what the events add up to since an engine's last refresh."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Annotated, Any

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    err,
    instant,
    open_from,
    out,
    print_json,
)
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import part_named
from babbitt.model.kinds import KINDS
from babbitt.model.part_records import PartPlace, PartSums
from babbitt.model.records import Window
from babbitt.model.service_limits import ServiceLimit, ServiceUse, service_use
from babbitt.present.views.register import where_is
from babbitt.present.words import (
    CAUTION,
    NOTHING,
    Reader,
    duration,
    faults_in_words,
    number,
    reader_of,
    share,
    table,
)
from babbitt.register.queries.part_sums import near_service, part_sums
from babbitt.register.queries.places import where_now
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import builds, engines
from babbitt.totals.totals import Totals, make_totals

_BAR = 8
"""Blocks of a full bar."""


def totals(
    context: typer.Context,
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine; else all.")
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="As it stood then, not now.")
    ] = None,
    by_part: Annotated[
        bool, typer.Option("--parts", help="By part, over all the engines that it sat in.")
    ] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Add up events, running and wear since the last refresh."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    until = instant(at, "--at", reader.timezone) if at else None
    if by_part:
        _parts(book, reader, engine_id, until, as_json=as_json)
        return
    found = totals_of(book, engine_id, until)
    if as_json:
        print_json([each.to_json() for each in found])
    elif not found:
        out.print("No engines yet: add one with `babbitt engine add ID --spec SPEC.toml`.")
    elif engine_id is None:
        print_overview(found, reader)
        out.print(CAUTION, style="dim")
    else:
        _print_engine(found[0], reader)


def totals_of(
    book: Logbook, engine_id: str | None = None, until: datetime | None = None
) -> list[Totals]:
    """Return the totals of one engine or of all since the refresh before `until` (None: the last).

    Raises:
        RegisterError: no such engine, or it was not built yet.
    """
    with book.register.reading() as session:
        if engine_id is None:
            specs, faults = engines.specs_of(engines.list_engines(session))
            for sentence in faults_in_words(faults):
                err.print(sentence)
        else:
            specs = {engine_id: engines.spec_of(session, engine_id)}
        since = {
            name: builds.build_at(session, name, until).since
            if until
            else builds.builds_of(session, name)[-1].since
            for name in specs
        }
        windows = [Window(name, since[name], until, spec.version()) for name, spec in specs.items()]
        sums = window_sums(session, windows)
    return [
        make_totals(each, specs[window.engine_id], window.engine_id, window.since)
        for window, each in zip(windows, sums, strict=True)
    ]


def standing(book: Logbook) -> dict[str, str]:
    """Return in a line where the totals of each engine stand."""
    reader = reader_of(book.settings)
    return {
        each.engine_id: (
            f"{each.runs} runs, {duration(each.running_s)} running, "
            f"{sum(row.count for row in each.events)} events since {reader.day(each.since)}"
        )
        for each in totals_of(book)
    }


def say_changed(book: Logbook, before: Mapping[str, str]) -> None:
    """Say which engines' totals stand elsewhere than `before`."""
    for engine_id, now in standing(book).items():
        if before.get(engine_id) not in (None, now):
            out.print(f"{engine_id}: {now}; it was {before[engine_id]}.")


def print_overview(found: Sequence[Totals], reader: Reader) -> None:
    """Print each engine with the harm that it took, the one that used most of its life first."""
    listing = table(
        "Life used since the last refresh",
        "engine",
        "last ran",
        "running",
        "harm",
        "life used",
        "",
        "events",
        left=5,
    )
    for each in sorted(found, key=lambda each: -_most_used(each)):
        harm = sorted((row for row in each.events if row.count), key=lambda row: -(row.used or 0.0))
        names = [each.engine_id, reader.day(each.last_run), duration(each.running_s)]
        for row in harm:
            listing.add_row(
                *names, KINDS[row.kind].title, _bar(row.used), share(row.used), str(row.count)
            )
            names = ["", "", ""]
        if not harm:
            listing.add_row(*names, "nothing found", "", "", "")
        listing.add_section()
    out.print(listing)
    out.print(
        "The stroke marks the dose at which the builder expects one engine in ten to show damage."
    )
    for each in found:
        for remark in _remarks(each):
            out.print(f"{each.engine_id}: {remark}")


def _print_engine(each: Totals, reader: Reader) -> None:
    since = f"since {reader.instant(each.since)}" if each.since else "since its first log"
    out.print(
        f"{each.engine_id} {since}: {each.runs} runs, {duration(each.running_s)} "
        f"running, {_count(each.revolutions)} revolutions, {_count(each.starts)} starts, "
        f"{_count(each.heat_cycles)} heat cycles; last ran {reader.instant(each.last_run)}."
    )
    listing = table("", "kind", "events", "for", "dose", "", "life", "used", "watched", left=1)
    listing.columns[4].justify = "left"
    for row in each.events:
        dose, unit = reader.dose(row.dose, row.dose_unit)
        listing.add_row(
            KINDS[row.kind].title,
            str(row.count) if row.count else NOTHING,
            duration(row.duration_s) if row.count else NOTHING,
            dose,
            unit,
            reader.dose(row.limit, row.dose_unit)[0],
            share(row.used),
            share(row.watched_share),
        )
    out.print(listing)
    for remark in _remarks(each):
        out.print(remark)
    out.print(CAUTION, style="dim")


def _parts(
    book: Logbook, reader: Reader, engine_id: str | None, at: datetime | None, *, as_json: bool
) -> None:
    with book.register.reading() as session:
        found = part_sums(session, engine_id=engine_id, at=at)
        places = {place.part.part_id: place for place in where_now(session, at=at)}
    limits = book.settings.service
    if as_json:
        print_json([_part_json(each, places[each.part.part_id], limits) for each in found])
        return
    if not found:
        out.print("No parts yet: add one with `babbitt part add PART_ID --kind K`.")
        return
    listing = table(
        "", "part", "kind", "where", "running", "revolutions", "took", "service", left=3
    )
    for column in listing.columns[-2:]:
        column.justify = "left"
    for each in found:
        harm = [
            f"{KINDS[kind].title} {' '.join(reader.dose(sums.dose, KINDS[kind].dose_unit))}"
            for kind, sums in each.sums.kinds.items()
            if sums.count
        ]
        listing.add_row(
            each.part.part_id,
            part_named(each.part.kind).title,
            where_is(places[each.part.part_id], reader),
            duration(each.sums.running_s),
            number(each.sums.revolutions),
            "; ".join(harm) or NOTHING,
            "; ".join(f"{share(use.share)} of {_limit(use)}" for use in _uses(each, limits))
            or NOTHING,
        )
    out.print(listing)
    for due in near_service(found, limits):
        word = "past" if due.use.share >= 1.0 else "near"
        out.print(f"{due.part.part_id} is {word} its service limit of {_limit(due.use)}.")


def _part_json(
    each: PartSums, place: PartPlace, limits: Mapping[str, ServiceLimit]
) -> dict[str, Any]:
    sums = each.sums
    return {
        "part_id": each.part.part_id,
        "kind": each.part.kind,
        "engine_id": place.fitment.engine_id if place.fitment else None,
        "position": place.fitment.position if place.fitment else None,
        "fitments": len(each.fitments),
        "runs": sums.runs,
        "running_s": sums.running_s,
        "revolutions": sums.revolutions,
        "starts": sums.starts,
        "heat_cycles": sums.heat_cycles,
        "events": {
            kind: {
                "count": of_kind.count,
                "duration_s": of_kind.duration_s,
                "dose": of_kind.dose,
                "dose_unit": KINDS[kind].dose_unit,
                "watched_s": of_kind.watched_s,
            }
            for kind, of_kind in sums.kinds.items()
        },
        "service": [asdict(use) | {"share": use.share} for use in _uses(each, limits)],
    }


def _uses(each: PartSums, limits: Mapping[str, ServiceLimit]) -> tuple[ServiceUse, ...]:
    limit = limits.get(each.part.kind)
    return service_use(limit, each.sums) if limit else ()


def _limit(use: ServiceUse) -> str:
    of = {str(kind): f" of {about.title}" for kind, about in KINDS.items()}
    return f"{number(use.limit)} {use.unit}{of.get(use.measure, '')}"


def _most_used(each: Totals) -> float:
    return max((row.used or 0.0 for row in each.events), default=0.0)


def _bar(used: float | None) -> str:
    """Draw a share up to and past the stroke that stands for 1."""
    if used is None:
        return ""
    full = min(round(used * _BAR), _BAR)
    return "▇" * full + "▁" * (_BAR - full) + "│" + ("▇" if used > 1.0 else "")


def _count(value: float | None) -> str:
    return NOTHING if value is None else number(value)


def _remarks(each: Totals) -> list[str]:
    """Say what the figures leave out."""
    remarks = []
    unseen = [KINDS[row.kind].title for row in each.events if row.dose is None]
    partly = [
        f"{KINDS[row.kind].title} {share(row.watched_share)}"
        for row in each.events
        if row.dose is not None and row.watched_share is not None and row.watched_share < 0.95
    ]
    if unseen:
        remarks.append(f"not watched at all, so unknown rather than none: {', '.join(unseen)}.")
    if partly:
        remarks.append(f"watched for only a part of the running: {', '.join(partly)}.")
    if each.unlogged_s:
        remarks.append(f"{duration(each.unlogged_s)} of running was not logged.")
    stale = sum(row.stale for row in each.events)
    if stale:
        remarks.append(
            f"{stale} events were found under other limits than today's: run `babbitt detect`."
        )
    return remarks
