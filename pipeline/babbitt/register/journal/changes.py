"""The one way in which people change records: create, amend or withdraw, and keep what was there.

A record has rules of its own; they are asked at the end of an act, when all of its changes are
made, so that an act may pass through states that could not stay. Whether a state is allowed does
not depend on how it was reached.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import inspect
from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.records import Change
from babbitt.register.journal.entries import as_text, changes_since, write_down
from babbitt.register.journal.fields import describe, sentence, shown
from babbitt.register.tables.models import LARGEST_ID, UtcDateTime

MOST_TEXT = 10_000
"""Characters of a note, a reason or a name: some four printed pages."""

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
"""Control codes other than tab and line ends, and halves of characters: no database takes all."""


@dataclass(frozen=True)
class Record:
    """A sort of record that people change.

    Attributes:
        row: its table.
        about: columns that tell one from another, for the journal.
        settle: raises RegisterError where a row breaks a rule, and brings along what follows from
            it; is handed the columns that changed, as they were, empty for a new row.
        engine_of: the engine that a row concerns, or None.
        listed_by: the command that shows those there are.
        withdrawn: column that says when it was withdrawn.
        derived: columns that the program keeps up itself.
        recheck: asked besides `settle` where an undo brings a row back.
    """

    row: type[Any]
    about: tuple[str, ...]
    settle: Callable[[Session, Any, Mapping[str, Any]], None]
    engine_of: Callable[[Session, Any], str | None]
    listed_by: str
    withdrawn: str = "withdrawn_at"
    derived: frozenset[str] = frozenset()
    recheck: Callable[[Session, Any], None] = lambda _session, _row: None

    @property
    def name(self) -> str:
        """Its table, which is what the journal calls it."""
        return str(self.row.__tablename__)

    def key_of(self, row: Any) -> str:
        """Return the key of a row as the journal writes it."""
        (key,) = inspect(row).identity
        return str(key)

    def columns(self) -> tuple[str, ...]:
        """Return the columns that an act may touch."""
        hidden = self.derived | {"version"}
        names = (attribute.key for attribute in inspect(self.row).column_attrs)
        return tuple(name for name in names if name not in hidden)

    def is_withdrawn(self, row: Any) -> bool:
        """Tell whether a row counts no more."""
        return getattr(row, self.withdrawn) is not None


class Act:
    """What a person changes at once; made by `changing`."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._touched: list[tuple[Record, Any, Mapping[str, Any]]] = []
        self._changes: list[Change] = []
        self._engine_ids: set[str] = set()

    def create(self, record: Record, row: Any) -> None:
        """Add a row.

        Raises:
            RegisterError: a text in it holds control codes, or a number is not finite.
        """
        _refuse_unkeepable({name: getattr(row, name) for name in record.columns()})
        self._session.add(row)
        self._session.flush()
        after = {name: getattr(row, name) for name in record.columns()}
        self._note(record, row, _about(record, row), None, after)

    def amend(self, record: Record, row: Any, *, seen: int | None = None, **values: Any) -> None:
        """Set columns of a row; those that have the value already are passed over.

        Args:
            record: its sort.
            row: the row.
            seen: the version that the person looked at; None: whatever is there now.
            **values: column -> new value.

        Raises:
            RegisterError: the row has moved on since that version, a text holds control codes, or
                a number is not finite.
        """
        _refuse_unkeepable(values)
        if seen is not None and row.version != seen:
            raise RegisterError(_moved_on(self._session, record, row, seen))
        after = {name: new for name, new in values.items() if getattr(row, name) != new}
        if not after:
            return
        before = {name: getattr(row, name) for name in after}
        about = _about(record, row)
        self._concerns(record, row)
        for name, new in after.items():
            setattr(row, name, new)
        row.version += 1
        self._note(record, row, about, before, after)

    def withdraw(self, record: Record, row: Any, *, seen: int | None = None) -> None:
        """Take a row out of all that counts; it stays in the register.

        Raises:
            RegisterError: the row has moved on since the version `seen`.
        """
        self.amend(record, row, seen=seen, **{record.withdrawn: datetime.now(UTC)})

    def replace(self, record: Record, row: Any) -> None:
        """Note that a row is written anew and what it was is not kept; cannot be undone."""
        row.version += 1
        about = _about(record, row)
        self._concerns(record, row)
        key = record.key_of(row)
        self._changes.append(Change(record.name, key, about, None, None, row.version))

    def finish(self, action: str, reason: str, undoes: int | None) -> None:
        """Ask the rules of all that was touched, and write the act down if it changed anything.

        Raises:
            RegisterError: a record breaks a rule now.
        """
        self._session.flush()
        for record, row, before in self._touched:
            record.settle(self._session, row, before)
        self._session.flush()
        if self._changes:
            write_down(
                self._session, action, self._changes, self._engine_ids, reason=reason, undoes=undoes
            )

    def _note(
        self,
        record: Record,
        row: Any,
        about: dict[str, Any],
        before: Mapping[str, Any] | None,
        after: Mapping[str, Any],
    ) -> None:
        self._concerns(record, row)
        self._touched.append((record, row, before or {}))
        self._changes.append(
            Change(
                record=record.name,
                record_id=record.key_of(row),
                about=about,
                before=None if before is None else to_json(before),
                after=to_json(after),
                version=row.version,
            )
        )

    def _concerns(self, record: Record, row: Any) -> None:
        engine_id = record.engine_of(self._session, row)
        if engine_id is not None:
            self._engine_ids.add(engine_id)


@contextmanager
def changing(
    session: Session, action: str, reason: str = "", *, undoes: int | None = None
) -> Iterator[Act]:
    """Yield an act; what it changed is kept, with an entry in the journal, when the block ends.

    Where it is refused, none of it is kept, and the session can go on.

    Args:
        session: of a writing transaction.
        action: what is done, in the words of the command line.
        reason: as the person gave it.
        undoes: number of the entry that the act reverts.

    Raises:
        RegisterError: a record breaks a rule with these changes.
    """
    _refuse_unkeepable({"reason": reason})
    with session.begin_nested():
        act = Act(session)
        yield act
        act.finish(action, reason, undoes)


def require(session: Session, record: Record, key: int | str) -> Any:
    """Return the row of a record that was not withdrawn.

    Raises:
        RegisterError: there is none.
    """
    possible = isinstance(key, str) or 0 < key <= LARGEST_ID
    row = session.get(record.row, key) if possible else None
    if row is None or record.is_withdrawn(row):
        name = record.name.replace("_", " ")
        raise RegisterError(f"There is no {name} {key}: `{record.listed_by}` shows them.")
    return row


def by_name(record: Record, row: Any) -> str:
    """Return what a row is called in a sentence."""
    return describe(record.name, _about(record, row))


def from_json(record: Record, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return columns as the table has them, from what the journal kept."""
    columns = inspect(record.row).columns
    return {
        name: datetime.fromisoformat(value)
        if value is not None and isinstance(columns[name].type, UtcDateTime)
        else value
        for name, value in values.items()
    }


def to_json(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return columns as the journal keeps them."""
    return {
        name: as_text(value) if isinstance(value, datetime) else value
        for name, value in values.items()
    }


def keepable(text: str) -> str:
    """Return text that no person typed, with a sign in place of each that no database keeps."""
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)


def _refuse_unkeepable(values: Mapping[str, Any]) -> None:
    """Refuse what no database keeps, or not every one keeps as it is, and what nobody reads."""
    for name, value in values.items():
        if isinstance(value, str) and name != "toml" and len(value) > MOST_TEXT:
            raise RegisterError(
                f"This {name.replace('_', ' ')} is {len(value):,} characters long: shorten it to "
                f"{MOST_TEXT:,}."
            )
        if isinstance(value, float) and not math.isfinite(value):
            raise RegisterError(f"{value} cannot be kept: give a finite number.")
        found = _UNPRINTABLE.search(value) if isinstance(value, str) else None
        if found:
            raise RegisterError(
                f"{value!r} holds the control code U+{ord(found[0]):04X}: take it out."
            )


def _about(record: Record, row: Any) -> dict[str, Any]:
    return to_json({name: getattr(row, name) for name in record.about})


def _moved_on(session: Session, record: Record, row: Any, seen: int) -> str:
    later = changes_since(session, record.name, record.key_of(row), seen)
    told = "; ".join(f"{entry.who} {sentence(entry)} ({shown(entry.at)})" for entry in later)
    return f"Since you looked at {by_name(record, row)}, {told}: look at it again, then change it."
