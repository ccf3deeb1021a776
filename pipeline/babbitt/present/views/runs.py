"""The page of all runs: what ran, how badly, and what still wants a look."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from babbitt.logbook.folder import Logbook
from babbitt.model.kinds import KINDS
from babbitt.present.views.event_words import worst_words
from babbitt.present.words import NOTHING, Reader
from babbitt.register.queries.run_lines import (
    KindLine,
    Only,
    RunLine,
    RunLines,
    engines_with_runs,
    run_lines,
)
from babbitt.register.records.circuits import circuits_known

A_PAGE = 50
"""So many runs are shown at once."""


@dataclass(frozen=True)
class RunsView:
    """A page of runs.

    Attributes:
        engines: ids of the engines that have runs.
        circuits: that any run was at.
        lines: newest first.
        found: how many the filter leaves in all.
        page: which page it is, from 1.
        pages: how many there are; at least 1.
    """

    engines: tuple[str, ...]
    circuits: tuple[str, ...]
    lines: tuple[RunLine, ...]
    found: int
    page: int
    pages: int


def read_runs(
    book: Logbook,
    zone: tzinfo,
    *,
    engine_id: str | None = None,
    circuit: str | None = None,
    first_day: date | None = None,
    last_day: date | None = None,
    only: Only = "all",
    page: int = 1,
) -> RunsView:
    """Read a page of runs.

    Args:
        book: the logbook.
        zone: in which the days are meant.
        engine_id: only those of this engine.
        circuit: only those there.
        first_day: only those that start on this day or later.
        last_day: only those that start on this day or before.
        only: all, those with events that count, or those with events to review.
        page: from 1; one beyond the last gives the last.

    Raises:
        RegisterError: no such engine.
    """
    until = None if last_day is None else _midnight(last_day + timedelta(days=1), zone)
    since = None if first_day is None else _midnight(first_day, zone)

    def part(at: int) -> RunLines:
        return run_lines(
            session,
            engine_id=engine_id,
            circuit=circuit,
            since=since,
            until=until,
            only=only,
            limit=A_PAGE,
            offset=(at - 1) * A_PAGE,
        )

    with book.register.reading() as session:
        engines, circuits = engines_with_runs(session), circuits_known(session)
        found = part(page)
        pages = max(1, -(-found.found // A_PAGE))
        if page > pages:
            page, found = pages, part(pages)
    return RunsView(engines, circuits, found.lines, found.found, page, pages)


def harm_words(line: RunLine, reader: Reader) -> str:
    """Return the harm of a run by kind, with how often and how bad."""
    if line.unlogged:
        return "not logged"
    return "; ".join(_kind_words(each, reader) for each in line.kinds if each.count) or NOTHING


def quality_word(line: RunLine) -> str:
    """Return how well a run was read, in a word or two."""
    if line.unlogged:
        return NOTHING
    if line.blind:
        return "blind in part"
    return {0: "good", 1: "1 remark"}.get(len(line.warnings), f"{len(line.warnings)} remarks")


def review_word(line: RunLine) -> str:
    """Return how far its events are reviewed; nothing where it has none."""
    left = sum(each.to_review for each in line.kinds)
    if not line.kinds:
        return ""
    return f"{left} to review" if left else "reviewed"


def _kind_words(line: KindLine, reader: Reader) -> str:
    times = "" if line.count == 1 else f" {line.count} times"
    return (
        f"{KINDS[line.kind].title}{times}, {worst_words(line.kind, line.worst, line.unit, reader)}"
    )


def _midnight(day: date, zone: tzinfo) -> datetime:
    return datetime.combine(day, time(), zone)
