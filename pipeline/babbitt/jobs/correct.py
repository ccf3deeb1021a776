"""What of a record may be mended after the fact, and how each field is read from text."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar

from babbitt.errors import RegisterError
from babbitt.register import Session
from babbitt.register.records import (
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

ReadInstant = Callable[[str, str], datetime]


@dataclass(frozen=True)
class Sort:
    """A sort of record that can be mended.

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
        """Return the key of a record as the register has it.

        Raises:
            ValueError: it is none.
        """
        if not self.numbered:
            return text
        if not text.isdecimal():
            raise ValueError(f"{text!r} is not a number")
        return int(text)

    def read(self, given: Mapping[str, str], when: ReadInstant) -> dict[str, Any]:
        """Return the changes given, each read as its field needs it.

        Args:
            given: text by field; "" is unknown.
            when: reads an instant, given its text and field.

        Raises:
            ValueError: such records have no such field, or it cannot be read.
        """
        for name in given:
            if name not in self.fields:
                raise ValueError(f"{name!r} is no field of it (fields: {', '.join(self.fields)})")
        return {name: _value(self.fields[name], name, text, when) for name, text in given.items()}


def sort_of(record: str) -> Sort:
    """Return the sort of record that the journal names so.

    Raises:
        ValueError: there is none.
    """
    if record not in SORTS:
        raise ValueError(f"{record!r} is no record (records: {', '.join(SORTS)})")
    return SORTS[record]


def _value(how: str, name: str, text: str, when: ReadInstant) -> Any:
    if how == "text":
        return text
    if not text:
        return None
    if how == "instant":
        return when(text, name)
    if how == "number":
        try:
            return float(text)
        except ValueError as error:
            raise ValueError(f"{name}: {text!r} is not a number") from error
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


SORTS = {
    "engine": Sort(_amend_engine, engines.withdraw_engine, {"built": "instant"}, numbered=False),
    "refresh": Sort(
        builds.amend_refresh, builds.withdraw_refresh, {"at": "instant", "note": "text"}
    ),
    "run": Sort(
        corrections.amend_run,
        corrections.remove_run,
        {"at": "instant", "minutes": "number", "circuit": "optional"},
        numbered=False,
    ),
    "part": Sort(
        parts.amend_part, parts.withdraw_part, {"kind": "text", "note": "text"}, numbered=False
    ),
    "fitment": Sort(
        fitments.amend_fitment,
        fitments.withdraw_fitment,
        {"engine_id": "text", "position": "optional", "since": "instant", "until": "instant"},
    ),
    "work": Sort(
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
    "history": Sort(
        _amend_history,
        history.withdraw_history,
        {"hours": "number", "revolutions": "number", "until": "instant", "note": "text"},
    ),
    "sheet_line": Sort(
        _amend_line,
        sheets.withdraw_line,
        {"action": "text", "position": "optional", "part_id": "optional", "note": "text"},
    ),
    "built_measurement": Sort(
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
    "teardown": Sort(
        teardowns.amend_teardown, teardowns.withdraw_teardown, {"at": "instant", "note": "text"}
    ),
    "finding": Sort(
        _amend_finding,
        teardowns.withdraw_finding,
        {
            "part": "text",
            "position": "optional",
            "damage_mode": "optional",
            "grade": "number",
            "disposition": "text",
            "note": "text",
        },
    ),
}
