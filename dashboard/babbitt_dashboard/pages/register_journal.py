"""The register's journal: what people changed, taking it back, and mending a record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html

from babbitt.jobs import move_runs as moves
from babbitt.jobs.correct import SORTS, sort_of
from babbitt.jobs.detect import judge_engine
from babbitt.model.plain_text import past_moment
from babbitt.model.records import JournalEntry
from babbitt.present.views.register import JournalLine, journal_of
from babbitt.present.words import NOTHING
from babbitt.register.journal.fields import sentence
from babbitt.register.records.engines import not_withdrawn
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.forms import Field, Form, Given, show_form
from babbitt_dashboard.marks import table

_PAGE = "register"
_SHOWN = 200


def show(desk: Desk, _: Mapping[str, Any]) -> list[Any]:
    """Return the journal's newest entries, and the forms that take back and mend."""
    told = journal_of(desk.book, desk.reader, limit=_SHOWN)
    sorts = [(name, name.replace("_", " ")) for name in SORTS]
    undoable = [
        (str(each.entry.entry_id), f"no. {each.entry.entry_id}: {each.words}")
        for each in told.lines
        if not each.entry.undone
    ]
    return [
        *([show_form(UNDO, _PAGE, {"entry": undoable})] if undoable else []),
        *([show_form(REDO, _PAGE)] if told.redo else []),
        show_form(MEND, _PAGE, {"record": sorts}),
        show_form(WITHDRAW, _PAGE, {"record": sorts}),
        table(
            ["no.", "when", "who", "what", "records", "note"],
            [_row(desk, line) for line in told.lines],
            caption=f"The newest {len(told.lines)} changes" if told.lines else "",
            left=6,
            empty="Nothing was changed yet.",
        ),
    ]


def _row(desk: Desk, line: JournalLine) -> list[Any]:
    entry = line.entry
    shown = [f"{change.record} {change.record_id}" for change in entry.changes[:2]]
    more = len(entry.changes) - len(shown)
    return [
        str(entry.entry_id),
        desk.reader.instant(entry.at),
        entry.who,
        html.S(line.words, title="taken back") if entry.undone else line.words,
        ", ".join(shown) + (f" and {more} more" if more > 0 else ""),
        entry.reason or NOTHING,
    ]


def _undo(desk: Desk, given: Given) -> str:
    entry = moves.undo(desk.book, entry_id=int(given["entry"]), reason=given["note"], who=desk.who)
    return _done(desk, entry)


def _redo(desk: Desk, given: Given) -> str:
    return _done(desk, moves.redo(desk.book, reason=given["note"], who=desk.who))


def _mend(desk: Desk, given: Given) -> str:
    sort = sort_of(given["record"])
    key = sort.key(given["key"])
    values = sort.read(
        {given["field"]: given["value"]},
        lambda text, name: past_moment(text, name, desk.reader.timezone, desk.now()),
    )
    with desk.book.register.writing(desk.who) as session:
        sort.amend(session, key, seen=None, reason=given["note"], **values)
    return _newest(desk)


def _withdraw(desk: Desk, given: Given) -> str:
    sort = sort_of(given["record"])
    with desk.book.register.writing(desk.who) as session:
        sort.withdraw(session, sort.key(given["key"]), reason=given["note"])
    return _newest(desk)


def _newest(desk: Desk) -> str:
    return _done(desk, journal_of(desk.book, desk.reader, limit=1).lines[0].entry)


def _done(desk: Desk, entry: JournalEntry) -> str:
    """Judge again what depends on a change, and say what it was."""
    with desk.book.register.reading() as session:
        concerned = not_withdrawn(session, entry.engine_ids)
    for engine_id in concerned:
        judge_engine(desk.book, engine_id)
    text = sentence(entry, desk.reader.instant)
    return f"{text[:1].upper()}{text[1:]}."


_NOTE = Field("note", "Why", required=True)
_RECORD = Field("record", "Record", "choice", required=True)
_KEY = Field("key", "Its number or id", required=True, hint="as the journal shows it")

UNDO = Form(
    "undo",
    "Take a change back",
    (Field("entry", "Change", "choice", required=True), Field("note", "Why")),
    "Take it back",
    _undo,
)
REDO = Form(
    "redo", "Do again what was taken back last", (Field("note", "Why"),), "Do it again", _redo
)
MEND = Form(
    "mend",
    "Mend a record",
    (
        _RECORD,
        _KEY,
        Field("field", "Field", required=True, hint="a wrong name lists those there are"),
        Field("value", "New value", hint="empty: unknown"),
        _NOTE,
    ),
    "Mend it",
    _mend,
)
WITHDRAW = Form(
    "withdraw",
    "Withdraw a record that never should have been",
    (_RECORD, _KEY, _NOTE),
    "Withdraw it",
    _withdraw,
)
FORMS = (UNDO, REDO, MEND, WITHDRAW)
