"""babbitt journal, undo, redo, amend and withdraw: what people changed, and mending it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import Annotated, Any, TypeVar

import typer

from pipeline import moves
from pipeline.commands.common import (
    JsonOption,
    LogbookOption,
    NoteOption,
    open_from,
    out,
    past_instant,
    print_json,
    rejudge,
    who,
)
from pipeline.commands.totals import say_changed, standing
from pipeline.errors import RegisterError
from pipeline.logbook import Logbook
from pipeline.register import (
    Session,
    builds,
    corrections,
    engines,
    fitments,
    history,
    parts,
    sheets,
    teardowns,
    work,
)
from pipeline.register import journal as entries
from pipeline.register.journal_text import sentence
from pipeline.register.values import JournalEntry
from pipeline.show import Reader, reader_of, table

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
    book = open_from(context, logbook)
    before = standing(book)
    _say(book, moves.redo(book, engine_id, reason=note, who=who()), before)


def amend(
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
    book = open_from(context, logbook)
    sort = _sort(record)
    values = sort.read(changes, reader_of(book.settings).timezone)
    before = standing(book)
    with book.register.writing(who()) as session:
        sort.amend(session, sort.key(key), seen=seen, reason=note, **values)
    _say_newest(book, before)


def withdraw(
    context: typer.Context,
    record: RecordArgument,
    key: KeyArgument,
    note: NoteOption = "",
    logbook: LogbookOption = None,
) -> None:
    """Withdraw a record that never should have been; the journal keeps it."""
    book = open_from(context, logbook)
    sort = _sort(record)
    before = standing(book)
    with book.register.writing(who()) as session:
        sort.withdraw(session, sort.key(key), reason=note)
    _say_newest(book, before)


@dataclass(frozen=True)
class _Sort:
    """A sort of record that the command line can mend.

    Attributes:
        amend: changes one.
        withdraw: withdraws one.
        fields: what may be changed, and how it is read.
        numbered: its key is a number.
    """

    amend: Callable[..., Any]
    withdraw: Callable[..., Any]
    fields: Mapping[str, str]
    numbered: bool = True

    def key(self, text: str) -> int | str:
        """Return the key of a record as the register has it."""
        if not self.numbered:
            return text
        if not text.isdecimal():
            raise typer.BadParameter(f"{text!r} is not a number", param_hint="ID")
        return int(text)

    def read(self, given: Sequence[str], timezone: tzinfo) -> dict[str, Any]:
        """Return the changes given as FIELD=VALUE, each read as its field needs it."""
        values = {}
        for text in given:
            name, equals, value = (part.strip() for part in text.partition("="))
            if not equals or name not in self.fields:
                known = ", ".join(self.fields)
                raise typer.BadParameter(f"{text!r} is not FIELD=VALUE with a field of {known}")
            values[name] = _value(self.fields[name], name, value, timezone)
        return values


def _value(how: str, name: str, text: str, timezone: tzinfo) -> Any:
    if how == "text":
        return text
    if not text:
        return None
    if how == "instant":
        return past_instant(text, name, timezone)
    if how == "number":
        try:
            return float(text)
        except ValueError as error:
            raise typer.BadParameter(f"{name}: {text!r} is not a number") from error
    return text


def _amend_engine(session: Session, engine_id: str, **given: Any) -> None:
    engines.set_built(session, engine_id, given.pop("built"), **given)


def _amend_history(session: Session, history_id: int, **given: Any) -> None:
    if "hours" in given:
        given["running_s"] = given.pop("hours") * 3600.0
    history.amend_history(session, history_id, **given)


_Value = TypeVar("_Value")


def _one(record: str, found: Mapping[int, _Value], key: int) -> _Value:
    if key not in found:
        raise RegisterError(f"There is no {record} {key}: `babbitt journal` shows the numbers.")
    return found[key]


def _amend_finding(
    session: Session, finding_id: int, *, seen: int | None, reason: str, **given: Any
) -> None:
    if "grade" in given:
        given["grade"] = int(given["grade"])
    findings = {each.finding_id: each.finding for each in teardowns.findings_of(session)}
    finding = replace(_one("finding", findings, finding_id), **given)
    teardowns.amend_finding(session, finding_id, finding, seen=seen, reason=reason)


def _amend_line(
    session: Session, line_id: int, *, seen: int | None, reason: str, **given: Any
) -> None:
    lines = {
        each.line_id: each.line
        for engine in engines.list_engines(session)
        for each in sheets.lines_of(session, engine.engine_id)
    }
    line = replace(_one("sheet_line", lines, line_id), **given)
    sheets.amend_line(session, line_id, line, seen=seen, reason=reason)


def _amend_measurement(
    session: Session, measurement_id: int, *, seen: int | None, reason: str, **given: Any
) -> None:
    measurements = {
        each.measurement_id: each.built
        for engine in engines.list_engines(session)
        for each in sheets.measurements_of(session, engine.engine_id)
    }
    built = _one("built_measurement", measurements, measurement_id)
    position = given.pop("position", built.position)
    changed = replace(built, position=position, measurement=replace(built.measurement, **given))
    sheets.amend_measurement(session, measurement_id, changed, seen=seen, reason=reason)


_SORTS = {
    "engine": _Sort(_amend_engine, engines.withdraw_engine, {"built": "instant"}, numbered=False),
    "refresh": _Sort(
        builds.amend_refresh, builds.withdraw_refresh, {"at": "instant", "note": "text"}
    ),
    "run": _Sort(
        corrections.amend_unlogged,
        corrections.remove_run,
        {"at": "instant", "minutes": "number"},
        numbered=False,
    ),
    "part": _Sort(
        parts.amend_part, parts.withdraw_part, {"kind": "text", "note": "text"}, numbered=False
    ),
    "fitment": _Sort(
        fitments.amend_fitment,
        fitments.withdraw_fitment,
        {"engine_id": "text", "position": "optional", "since": "instant", "until": "instant"},
    ),
    "work": _Sort(
        work.amend_work,
        work.withdraw_work,
        {
            "shop": "text",
            "what": "text",
            "since": "instant",
            "due": "instant",
            "back_at": "instant",
            "result": "text",
        },
    ),
    "history": _Sort(
        _amend_history,
        history.withdraw_history,
        {"hours": "number", "revolutions": "number", "until": "instant", "note": "text"},
    ),
    "sheet_line": _Sort(
        _amend_line,
        sheets.withdraw_line,
        {"action": "text", "position": "optional", "part_id": "optional", "note": "text"},
    ),
    "built_measurement": _Sort(
        _amend_measurement,
        sheets.withdraw_measurement,
        {
            "name": "text",
            "value": "number",
            "unit": "text",
            "low": "number",
            "high": "number",
            "position": "optional",
        },
    ),
    "teardown": _Sort(
        teardowns.amend_teardown, teardowns.withdraw_teardown, {"at": "instant", "note": "text"}
    ),
    "finding": _Sort(
        _amend_finding,
        teardowns.withdraw_finding,
        {
            "position": "optional",
            "damage_mode": "optional",
            "grade": "number",
            "disposition": "text",
            "note": "text",
        },
    ),
}


def _sort(record: str) -> _Sort:
    if record not in _SORTS:
        raise typer.BadParameter(
            f"{record!r} is no record (records: {', '.join(_SORTS)})", param_hint="RECORD"
        )
    return _SORTS[record]


def _say_newest(book: Logbook, before: Mapping[str, str]) -> None:
    with book.register.reading() as session:
        (entry,) = entries.journal(session, limit=1)
    _say(book, entry, before)


def _say(book: Logbook, entry: JournalEntry, before: Mapping[str, str]) -> None:
    """Say what was done, judge again what depends on it, and say which totals moved."""
    text = sentence(entry, reader_of(book.settings).instant)
    out.print(f"{text[:1].upper()}{text[1:]}.")
    for engine_id in entry.engine_ids:
        rejudge(book, engine_id)
    say_changed(book, before)


def _records(entry: JournalEntry) -> str:
    """Return the records of an entry as `amend` and `withdraw` take them."""
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
