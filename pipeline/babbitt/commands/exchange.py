"""babbitt export, import, backup and restore: records out to other programs, in, and kept safe."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    err,
    open_from,
    out,
    print_json,
    progress,
    who,
)
from babbitt.errors import RegisterError
from babbitt.exchange.export import Format
from babbitt.exchange.export import export as export_to
from babbitt.exchange.importing import What, import_rows
from babbitt.jobs import back_up as backups
from babbitt.logbook.folder import saying_what_failed
from babbitt.present.words import table
from babbitt.register.dictionary import dictionary


def export(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    format: Annotated[  # noqa: A002
        Format, typer.Option("--format", help="A file a table, or one SQLite file with all.")
    ] = "all",
    engine: EngineFilter = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Write the whole record to files that any program reads, with a data dictionary."""
    book = open_from(context, logbook)
    written = export_to(book, folder, format=format, engine_id=engine)
    if as_json:
        print_json([asdict(each) for each in written])
        return
    listing = table("", "table", "rows", "what", left=1)
    listing.columns[2].justify = "left"
    for each in written:
        listing.add_row(each.name, f"{each.rows:,}", dictionary()[each.name].meaning)
    out.print(listing)
    out.print(f"Written to {folder}; dictionary.csv there says what every column holds.")


def import_file(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="A table with a header.")],
    what: Annotated[What, typer.Option("--what", help="What its rows are.")],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what it would do, and do nothing.")
    ] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Take in a part list, or running hours or findings from before the logs."""
    book = open_from(context, logbook)
    steps = import_rows(book, _read(file), source=str(file), what=what, who=who(), dry_run=dry_run)
    if as_json:
        print_json([asdict(step) for step in steps])
        return
    added = "would be added" if dry_run else "added"
    listing = table("", "line", "record", "", left=3)
    for step in steps:
        listing.add_row(
            str(step.line), step.what, added if step.outcome == "added" else "there already"
        )
    out.print(listing)
    count = Counter(step.outcome for step in steps)
    out.print(f"{count['added']} {added}, {count['there']} there already.")


def backup(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file, like book.tar.")],
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Write the whole logbook to one file, while others may be working on it."""
    book = open_from(context, logbook)
    with progress("Backing up", quiet=as_json) as track:
        done = backups.back_up(book, file, track=track)
    if as_json:
        print_json({"file": str(file), **asdict(done)})
    else:
        out.print(f"{file} holds {done.files} files, {done.bytes / 1e6:,.1f} MB.")
    for path in done.missing:
        err.print(f"{path} is in the register but missing, so it is not in the backup.")
    if done.missing:
        raise typer.Exit(1)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    as_json: JsonOption = False,
) -> None:
    """Make a logbook of a backup, and verify it."""
    with progress("Restoring", quiet=as_json) as track:
        found = backups.restore(file, folder, track=track)
    if as_json:
        print_json({"folder": str(folder), **asdict(found)})
    elif found.faults:
        out.print(f"Restored to {folder}, and not whole:")
        for fault in found.faults:
            out.print(f"- {fault}")
    else:
        out.print(f"Restored to {folder}: {found.runs} runs checked; the logbook is whole.")
    if found.faults:
        raise typer.Exit(1)


def _read(file: Path) -> str:
    with saying_what_failed(f"cannot read {file}"):
        data = file.read_bytes()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RegisterError(
            f"{file} is no CSV in UTF-8 (byte {error.start}): save it as CSV UTF-8."
        ) from error
