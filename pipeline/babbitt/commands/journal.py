"""babbitt journal, undo, redo, correct and withdraw: what people changed, and mending it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Annotated, Any

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
from babbitt.commands.totals import say_changed, standing
from babbitt.commands.workers import rejudge
from babbitt.logbook.folder import Logbook
from babbitt.model.records import JournalEntry
from babbitt.present.words import Reader, reader_of, table
from babbitt.register.journal import entries
from babbitt.register.journal.fields import sentence
from babbitt.register.records import engines

EngineArgument = Annotated[
    str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine's; else all.")
]
RecordArgument = Annotated[
    str, typer.Argument(metavar="RECORD", help="Its sort: engine, refresh, part, finding, ...")
]
KeyArgument = Annotated[
    str, typer.Argument(metavar="ID", help="Its id or number, as the journal shows it.")
]


def journal(
    context: typer.Context,
    engine_id: EngineArgument = None,
    limit: Annotated[int | None, typer.Option(metavar="N", help="Only the newest N.")] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Show what people changed: when, who, what, and why; newest first."""
    book = open_from(context, logbook)
    with book.register.reading() as session:
        if engine_id is not None:
            engines.require_engine(session, engine_id)
        found = entries.journal(session, engine_id=engine_id, limit=limit)
    reader = reader_of(book.settings)
    if as_json:
        print_json([_as_json(entry, reader) for entry in found])
        return
    if not found:
        out.print("Nothing was changed yet.")
        return
    listing = table("", "no.", "when", "who", "what", "records", "note", left=6)
    for entry in found:
        undone = " (undone)" if entry.undone else ""
        listing.add_row(
            str(entry.entry_id),
            reader.instant(entry.at),
            entry.who,
            sentence(entry, reader.instant) + undone,
            _records(entry),
            entry.reason,
        )
    out.print(listing)


def undo(
    context: typer.Context,
    engine_id: EngineArgument = None,
    entry: Annotated[
        int | None, typer.Option("--entry", metavar="N", help="This change, not the last one.")
    ] = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Take back the last change; `redo` does it again."""
    from babbitt.jobs import move_runs as moves  # slow to import

    book = open_from(context, logbook)
    before = standing(book)
    _say(book, moves.undo(book, engine_id, entry_id=entry, reason=note, who=who()), before)


def redo(
    context: typer.Context,
    engine_id: EngineArgument = None,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Do again what the last undo took back."""
    from babbitt.jobs import move_runs as moves  # slow to import

    book = open_from(context, logbook)
    before = standing(book)
    _say(book, moves.redo(book, engine_id, reason=note, who=who()), before)


def correct(
    context: typer.Context,
    record: RecordArgument,
    key: KeyArgument,
    changes: Annotated[
        list[str], typer.Argument(metavar="FIELD=VALUE...", help="An empty value: unknown.")
    ],
    note: NoteOption = "",
    seen: Annotated[
        int | None,
        typer.Option(metavar="VERSION", help="Refuse if it was changed since this version."),
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Mend a record; the journal keeps what it was."""
    from babbitt.jobs.correct import sort_of

    book = open_from(context, logbook)
    zone = reader_of(book.settings).timezone
    with _bad_usage():
        sort = sort_of(record)
        known = sort.key(key)
        values = sort.read(_fields(changes), lambda text, name: past_instant(text, name, zone))
    before = standing(book)
    with book.register.writing(who()) as session:
        sort.amend(session, known, seen=seen, reason=note, **values)
    _say_newest(book, before)


def withdraw(
    context: typer.Context,
    record: RecordArgument,
    key: KeyArgument,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Withdraw a record that never should have been; the journal keeps it."""
    from babbitt.jobs.correct import sort_of

    book = open_from(context, logbook)
    with _bad_usage():
        sort = sort_of(record)
        known = sort.key(key)
    before = standing(book)
    with book.register.writing(who()) as session:
        sort.withdraw(session, known, reason=note)
    _say_newest(book, before)


def _fields(given: Sequence[str]) -> dict[str, str]:
    """Read changes given as FIELD=VALUE, whose value may be empty."""
    read = {}
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            raise ValueError(f"{text!r} is not FIELD=VALUE")
        read[name] = value
    return read


@contextmanager
def _bad_usage() -> Iterator[None]:
    try:
        yield
    except ValueError as error:
        raise typer.BadParameter(str(error)) from error


def _say_newest(book: Logbook, before: Mapping[str, str]) -> None:
    with book.register.reading() as session:
        (entry,) = entries.journal(session, limit=1)
    _say(book, entry, before)


def _say(book: Logbook, entry: JournalEntry, before: Mapping[str, str]) -> None:
    """Say what was done, judge again what depends on it, and say which totals moved."""
    text = sentence(entry, reader_of(book.settings).instant)
    out.print(f"{text[:1].upper()}{text[1:]}.")
    with book.register.reading() as session:
        concerned = engines.not_withdrawn(session, entry.engine_ids)
    for engine_id in concerned:
        rejudge(book, engine_id)
    say_changed(book, before)


def _records(entry: JournalEntry) -> str:
    """Return the records of an entry as `correct` and `withdraw` take them."""
    shown = [f"{change.record} {change.record_id}" for change in entry.changes[:2]]
    more = len(entry.changes) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _as_json(entry: JournalEntry, reader: Reader) -> dict[str, Any]:
    return {
        "entry": entry.entry_id,
        "at": entry.at,
        "who": entry.who,
        "engines": entry.engine_ids,
        "action": entry.action,
        "sentence": sentence(entry, reader.instant),
        "reason": entry.reason,
        "undoes": entry.undoes,
        "undone": entry.undone,
        "changes": [
            {
                "record": change.record,
                "id": change.record_id,
                "before": change.before,
                "after": change.after,
            }
            for change in entry.changes
        ],
    }
