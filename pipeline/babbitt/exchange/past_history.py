"""Running of engines and parts from before the logs."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from babbitt.errors import RegisterError
from babbitt.exchange.rows import Faults, Row, Step
from babbitt.register import Session
from babbitt.register.records import engines, history, parts

COLUMNS = ("subject", "running_h", "revolutions", "until", "note")


def add_past_history(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add histories; those that are there already are passed over.

    Args:
        session: of a writing transaction; where there are faults, to be rolled back.
        rows: each of an engine or a part, the subject.
        faults: takes what is wrong.
    """
    engine_ids = {engine.engine_id for engine in engines.list_engines(session)}
    part_ids = {part.part_id for part in parts.list_parts(session)}
    steps: list[Step] = []
    for row in rows:
        with faults.of(row.line):
            subject = row.required("subject")
            if subject:
                _refuse_unclear(subject, engine_ids, part_ids)
            steps += _add(session, row, subject, is_engine=subject in engine_ids)
    return steps


def _add(session: Session, row: Row, subject: str, *, is_engine: bool) -> list[Step]:
    row.required("running_h")
    row.required("until")
    hours, until, note = row.number("running_h"), row.past("until"), row.text("note") or ""
    revolutions = row.number("revolutions")
    if not subject or hours is None or until is None:
        return []
    what = (subject, 3600.0 * hours, revolutions, until, note)
    there = what in {
        (
            each.engine_id if is_engine else each.part_id,
            each.running_s,
            each.revolutions,
            each.until,
            each.note,
        )
        for each in history.list_history(session)
    }
    if not there:
        add = history.add_engine_history if is_engine else history.add_part_history
        add(
            session,
            subject,
            running_s=3600.0 * hours,
            until=until,
            revolutions=revolutions,
            note=note,
        )
    told = f"{hours:g} h of {subject} until {until:%Y-%m-%d}"
    return [Step(row.line, told, "there" if there else "added")]


def _refuse_unclear(subject: str, engine_ids: set[str], part_ids: set[str]) -> None:
    if subject in engine_ids and subject in part_ids:
        raise RegisterError(
            f"subject: {subject} is an engine and a part: give one of them another id first."
        )
    if subject not in engine_ids | part_ids:
        close = difflib.get_close_matches(subject, sorted(engine_ids | part_ids), n=1)
        hint = f"did you mean {close[0]}?" if close else "add it first"
        raise RegisterError(f"subject: there is no engine or part {subject!r} ({hint})")
