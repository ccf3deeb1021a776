"""The reports of the pages that list: runs, teardowns, logs and the register."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import grades, part_named
from babbitt.model.plain_text import capital
from babbitt.present.remedies import remarks_of
from babbitt.present.reports.report import Section, write_report
from babbitt.present.views.logs import LogsView
from babbitt.present.views.logs_quality import SensorsView, finding
from babbitt.present.views.logs_refused import why_refused
from babbitt.present.views.register import (
    ENGINES,
    engine_cells,
    engine_list,
    journal_of,
    part_lines,
    where_is,
)
from babbitt.present.views.runs import harm_words, quality_word, read_runs, review_word
from babbitt.present.views.teardowns import TeardownList
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import NOTHING, Reader, duration, number
from babbitt.register.queries.run_lines import Only, RunLine

_CHANGES = 200
"""Entries of the journal that go on paper; `babbitt export` has them all."""


def runs_report(
    book: Logbook,
    reader: Reader,
    *,
    at: datetime,
    engine_id: str | None = None,
    circuit: str | None = None,
    first_day: date | None = None,
    last_day: date | None = None,
    only: Only = "all",
) -> str:
    """Return the runs that fit a filter, all of them, as one file of HTML.

    Args:
        book: the logbook.
        reader: whose units and time zone are used.
        at: UTC, when it is printed.
        engine_id: only those of this engine.
        circuit: only those there.
        first_day: only those that start on this day or later.
        last_day: only those that start on this day or before.
        only: all, those with events that count, or those with events to review.

    Raises:
        RegisterError: no such engine.
    """
    lines: list[RunLine] = []
    page = pages = 1
    while page <= pages:
        found = read_runs(
            book,
            reader.timezone,
            engine_id=engine_id,
            circuit=circuit,
            first_day=first_day,
            last_day=last_day,
            only=only,
            page=page,
        )
        lines += found.lines
        page, pages = page + 1, found.pages
    table = TextTable(
        ("Run", "Engine", "Circuit", "Harm", "Review", "Read", "Lasted", "Peak, rpm"),
        tuple(_run_cells(line, reader) for line in lines),
        left=6,
        empty="No run fits this filter.",
    )
    title = f"Runs of {engine_id}" if engine_id else "Runs"
    title += f" at {circuit}" if circuit else ""
    return write_report(title, [Section("", tables=(table,))], at=at, reader=reader)


def teardowns_report(listed: TeardownList, reader: Reader, *, at: datetime) -> str:
    """Return every teardown, with what was found and whether the log explains it."""
    table = TextTable(
        ("Engine", "Apart on", *(capital(g.title) for g in grades()), "Worst found", "Explained"),
        tuple(
            (
                line.teardown.engine_id,
                reader.day(line.teardown.at),
                *(str(line.counts.get(grade.value, "")) for grade in grades()),
                capital(line.worst_words) or "All sound",
                capital(line.explained) or NOTHING,
            )
            for line in listed.lines
        ),
        left=2,
        empty="No engine came apart yet.",
    )
    return write_report("Teardowns", [Section("", tables=(table,))], at=at, reader=reader)


def logs_report(
    view: LogsView, sensors: Iterable[SensorsView], reader: Reader, *, at: datetime
) -> str:
    """Return what went in lately and how, what was refused, and the sensors of each engine."""
    lately = TextTable(
        ("Log", "Engine", "Began", "How it was read", "Taken in", "Lasted"),
        tuple(
            (
                run.source_name,
                run.engine_id,
                reader.instant(run.started_at),
                " ".join(remarks_of(run)) or "good",
                reader.instant(run.ingested_at),
                duration(run.duration_s),
            )
            for run in view.lately
        ),
        left=5,
        empty="No log was taken in yet.",
    )
    refused = TextTable(
        ("Log", "Engine", "Refused", "Why"),
        tuple(
            (each.file, each.engine_id, reader.instant(each.at), why_refused(each))
            for each in view.refused
            if each.set_aside_at is None
        ),
        left=4,
    )
    sections = [
        *([Section("Refused", tables=(refused,))] if refused.rows else []),
        Section("Taken in lately", tables=(lately,)),
        *(
            Section(f"Sensors of {each.engine_id}", sentences=(finding(each), *each.unreadable))
            for each in sensors
        ),
    ]
    return write_report("Logs", sections, at=at, reader=reader)


def register_report(book: Logbook, reader: Reader, *, at: datetime) -> str:
    """Return the register: engines, every part with where it is, and the newest changes."""
    engines = TextTable(
        tuple(map(capital, ENGINES)),
        tuple(tuple(engine_cells(each, reader)) for each in engine_list(book)),
        left=5,
        empty="No engine is in the register yet.",
    )
    parts = TextTable(
        ("Part", "Kind", "Where", "Note", "Runs", "Running"),
        tuple(
            (
                each.place.part.part_id,
                part_named(each.place.part.kind).title,
                where_is(each.place, reader),
                each.place.part.note,
                str(each.runs),
                duration(each.running_s),
            )
            for each in part_lines(book)
        ),
        left=4,
        empty="No part is tracked yet.",
    )
    return write_report(
        "Register",
        [
            Section("Engines", tables=(engines,)),
            Section("Parts", tables=(parts,)),
            Section("Journal", tables=(_journal(book, reader),), new_page=True),
        ],
        at=at,
        reader=reader,
    )


def _journal(book: Logbook, reader: Reader) -> TextTable:
    lines = journal_of(book, reader, limit=_CHANGES).lines
    return TextTable(
        ("No.", "When", "Who", "What", "Note"),
        tuple(
            (
                str(line.entry.entry_id),
                reader.instant(line.entry.at),
                line.entry.who,
                line.words + (" (taken back)" if line.entry.undone else ""),
                line.entry.reason,
            )
            for line in lines
        ),
        caption=_counted(lines),
        left=5,
        empty="Nothing was changed yet.",
    )


def _counted(lines: Sequence[object]) -> str:
    return f"The newest {len(lines)} changes" if len(lines) == _CHANGES else ""


def _run_cells(line: RunLine, reader: Reader) -> tuple[str, ...]:
    return (
        reader.instant(line.started_at) + (" ?" if line.start_basis == "file" else ""),
        line.engine_id,
        line.circuit or NOTHING,
        harm_words(line, reader),
        review_word(line),
        quality_word(line),
        duration(line.duration_s),
        NOTHING if line.peak_rpm is None else number(line.peak_rpm),
    )
