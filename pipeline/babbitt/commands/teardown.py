"""babbitt teardown: what was found when an engine came apart."""

from __future__ import annotations

import sys
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import (
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
from babbitt.jobs.record_teardown import record_teardown
from babbitt.logbook.folder import saying_what_failed
from babbitt.model.damage_modes import grades, mode_named, part_named
from babbitt.model.part_records import FindingRecord
from babbitt.present.words import NOTHING, Reader, as_measured, reader_of, table
from babbitt.register.records import teardowns

app = typer.Typer(help="Teardowns: what to look for, and what was found.")


@app.command("record")
def record(
    context: typer.Context,
    engine_id: Annotated[str, typer.Argument(metavar="ENGINE_ID", help="The engine.")],
    at: Annotated[str, typer.Option("--at", metavar="WHEN", help="When it came apart.")],
    findings: Annotated[
        Path, typer.Option("--findings", metavar="FILE", help="TOML or CSV; photos beside it.")
    ],
    earlier_build: Annotated[
        bool, typer.Option("--earlier-build", help="It was before the newest refresh.")
    ] = False,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Write down what was found: every finding of the file, or none."""
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    recorded = record_teardown(
        book,
        engine_id,
        findings,
        at=past_instant(at, "--at", reader.timezone),
        note=note,
        earlier_build=earlier_build,
        who=who(),
    )
    with book.register.reading() as session:
        found = [
            each
            for each in teardowns.findings_of(session, engine_id)
            if each.teardown.teardown_id == recorded.teardown_id
        ]
    _print(found, reader)


@app.command("sheet")
def sheet(
    context: typer.Context,
    engine_id: Annotated[str, typer.Argument(metavar="ENGINE_ID", help="The engine.")],
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="As it stood then, not now.")
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE.html", help="Write a page to print, not text."),
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Print what to look at when an engine comes apart, the likeliest damage first."""
    # scipy, which the damage model needs, is slow to import
    from babbitt.jobs.outlook import sheet_of
    from babbitt.present.reports.sheet_print import sheet_html, sheet_text

    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    when = instant(at, "--at", reader.timezone).astimezone(UTC) if at else datetime.now(UTC)
    made, rpm_at = sheet_of(book, engine_id, at=when)
    if html is None:
        sys.stdout.write(sheet_text(made, reader, rpm_at))
        return
    with saying_what_failed(f"cannot write {html}"):
        html.write_text(sheet_html(made, reader, rpm_at), encoding="utf-8")
    out.print(f"Wrote {html}.")


@app.command("list")
def list_findings(
    context: typer.Context,
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine; else all.")
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """List the findings, oldest first."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        found = teardowns.findings_of(session, engine_id)
    if as_json:
        print_json([asdict(each) for each in found])
    elif not found:
        out.print("No findings yet: `babbitt teardown record ENGINE_ID --at WHEN --findings FILE`.")
    else:
        _print(found, reader_of(book.settings))


def _print(found: list[FindingRecord] | tuple[FindingRecord, ...], reader: Reader) -> None:
    listing = table(
        "",
        "no.",
        "engine",
        "apart on",
        "part",
        "at",
        "finding",
        "measured",
        "then",
        "note",
        left=9,
    )
    for each in found:
        finding, measured = each.finding, each.finding.measurement
        words = grades()[finding.grade].title
        if finding.damage_mode is not None:
            words = f"{mode_named(finding.part, finding.damage_mode).title}, {words}"
        listing.add_row(
            str(each.finding_id),
            each.teardown.engine_id,
            reader.day(each.teardown.at),
            part_named(finding.part).title,
            finding.position or NOTHING,
            words,
            f"{measured.name} {as_measured(measured.value)} {measured.unit}"
            if measured
            else NOTHING,
            finding.disposition.replace("_", " "),
            finding.note,
        )
    out.print(listing)
