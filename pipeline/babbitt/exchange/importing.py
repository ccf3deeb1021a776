"""babbitt import: part lists and records from before the logs, all of a file or nothing."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from babbitt.errors import RegisterError
from babbitt.exchange.files import as_written
from babbitt.exchange.rows import Faults, Row, Step
from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import zone
from babbitt.model.csv_rows import read_csv_rows
from babbitt.model.damage_modes import as_named_today
from babbitt.model.finding import Finding
from babbitt.register import Session
from babbitt.register.records import engines, fitments, history, parts, teardowns
from babbitt.teardown import findings_file

What = Literal["parts", "history", "findings"]


PART_COLUMNS = ("part_id", "kind", "note", "engine", "position", "fitted_at")
HISTORY_COLUMNS = ("subject", "running_h", "revolutions", "until", "note")
FINDING_COLUMNS = ("engine", "at", *findings_file.COLUMNS)


@dataclass(frozen=True)
class _Sort:
    columns: tuple[str, ...]
    add: Callable[[Session, Sequence[Row], Faults], list[Step]]


def import_rows(
    book: Logbook, text: str, *, source: str, what: What, who: str, dry_run: bool = False
) -> tuple[Step, ...]:
    """Add the records of a CSV file to the register; those that are there already stay as they are.

    A dry run goes the whole way, with every rule asked, and then takes all of it back.

    Args:
        book: the logbook; times without a zone are in its zone.
        text: of the file.
        source: its name, to quote in errors.
        what: sort of records.
        who: the name that the journal shows.
        dry_run: keep nothing.

    Returns:
        What became of each row, in the order of the lines.

    Raises:
        RegisterError: names every fault of the file, with line and column; nothing was added.
    """
    table = read_csv_rows(text, source=source, columns=_SORTS[what].columns)
    faults = Faults()
    for line, clause in table.faults.items():
        faults.add(line, clause)
    if not table.rows and not table.faults:
        raise RegisterError(
            f"{source} has no rows: write a header of {', '.join(_SORTS[what].columns)}, and rows "
            "below it."
        )
    rows = [
        Row(
            line,
            {column: as_written(cell) for column, cell in cells.items()},
            zone(book.settings.timezone),
            table.decimal_comma,
            faults,
        )
        for line, cells in table.rows.items()
    ]
    with book.register.writing(who) as session, session.begin_nested() as trial:
        steps = _SORTS[what].add(session, rows, faults)
        if faults.found:
            raise RegisterError(faults.sentence(source))
        if dry_run:
            trial.rollback()
    return tuple(steps)


def _add_part_list(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add the parts of a list and their fitments; those that are there already are passed over.

    A part may be on several rows: it was fitted more than once.
    """
    steps: list[Step] = []
    for row in rows:
        with faults.of(row.line):
            steps += _add_part(session, row)
    return steps


def _add_part(session: Session, row: Row) -> Iterator[Step]:
    named = as_named_today({"part": row.required("kind"), "position": row.text("position")})
    part_id, kind, position = row.required("part_id"), named["part"], named["position"]
    engine_id, at = row.text("engine"), row.past("fitted_at")
    if engine_id is None and row.cells.keys() & {"position", "fitted_at"}:
        row.fault("engine", "fill it in, or leave position and fitted_at blank")
    if engine_id is not None and "fitted_at" not in row.cells:
        row.fault("fitted_at", "fill it in, or leave engine blank")
    if not part_id or not kind:
        return
    known = {part.part_id: part for part in parts.list_parts(session)}.get(part_id)
    if known is None:
        parts.add_part(session, part_id, kind, note=row.text("note") or "")
    else:
        _refuse_other(row, "kind", kind, known.kind)
        _refuse_other(row, "note", row.text("note") or known.note, known.note)
    yield Step(row.line, f"{kind} {part_id}", "added" if known is None else "there")
    if engine_id is None or at is None:
        return
    there = any(
        (fitment.engine_id, fitment.position, fitment.since) == (engine_id, position, at)
        for fitment in fitments.list_fitments(session, part_id=part_id)
    )
    if not there:
        fitments.fit_part(session, part_id, engine_id, at=at, position=position)
    place = f"{engine_id} {position}" if position else engine_id
    yield Step(row.line, f"{part_id} fitted to {place}", "there" if there else "added")


def _refuse_other(row: Row, column: str, written: str, known: str) -> None:
    if written != known:
        raise RegisterError(
            f"{column}: {row.cells['part_id']} has {known!r} in the register and {written!r} here: "
            "correct the one that is wrong."
        )


def _add_past_history(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add histories; those that are there already are passed over."""
    engine_ids = {engine.engine_id for engine in engines.list_engines(session)}
    part_ids = {part.part_id for part in parts.list_parts(session)}
    steps: list[Step] = []
    for row in rows:
        with faults.of(row.line):
            subject = row.required("subject")
            if subject:
                _refuse_unclear(subject, engine_ids, part_ids)
            steps += _add_history(session, row, subject, is_engine=subject in engine_ids)
    return steps


def _add_history(session: Session, row: Row, subject: str, *, is_engine: bool) -> list[Step]:
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


def _add_past_findings(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add findings, those of one engine and instant as one teardown; not those that are there."""
    found = _findings(rows, faults)
    by_teardown: dict[tuple[str, datetime], list[tuple[Row, Finding]]] = {}
    for row in rows:
        engine_id = row.required("engine")
        row.required("at")
        at = row.past("at")
        if "photos" in row.cells:
            row.fault("photos", "leave it blank and add them with the findings of a teardown")
        if engine_id and at is not None and row.line in found:
            by_teardown.setdefault((engine_id, at), []).append((row, found[row.line]))
    steps: list[Step] = []
    for (engine_id, at), given in by_teardown.items():
        with faults.of(given[0][0].line):
            steps += _add_teardown(session, engine_id, at, given)
    return sorted(steps, key=lambda step: step.line)


def _findings(rows: Iterable[Row], faults: Faults) -> dict[int, Finding]:
    """Return the findings by their lines; a row that holds none is a fault."""
    found: dict[int, Finding] = {}
    for row in rows:
        cells = {name: cell for name, cell in row.cells.items() if name in findings_file.COLUMNS}
        findings, wrong = findings_file.findings_of_rows(
            {row.line: cells}, decimal_comma=row.decimal_comma
        )
        for clause in wrong:
            faults.add(row.line, clause.removeprefix(f"line {row.line}: "))
        found |= dict.fromkeys([row.line] if findings else [], *findings)
    return found


def _add_teardown(
    session: Session, engine_id: str, at: datetime, given: Sequence[tuple[Row, Finding]]
) -> list[Step]:
    known = next(
        (each for each in teardowns.teardowns_of(session, engine_id) if each.at == at), None
    )
    recorded = [
        each.finding
        for each in teardowns.findings_of(session, engine_id)
        if known is not None and each.teardown.teardown_id == known.teardown_id
    ]
    new = [finding for _, finding in given if finding not in recorded]
    if known is None:
        teardowns.record_teardown(session, engine_id, at, new, earlier_build=True)
    elif new:
        teardowns.add_findings(session, known.teardown_id, new)
    return [
        Step(
            row.line,
            f"{_told(finding)} of {engine_id} on {at:%Y-%m-%d}",
            "there" if finding in recorded else "added",
        )
        for row, finding in given
    ]


def _told(finding: Finding) -> str:
    place = f" {finding.position}" if finding.position else ""
    return f"{finding.part}{place}: {finding.damage_mode or 'sound'}, grade {finding.grade}"


_SORTS: dict[What, _Sort] = {
    "parts": _Sort(PART_COLUMNS, _add_part_list),
    "history": _Sort(HISTORY_COLUMNS, _add_past_history),
    "findings": _Sort(FINDING_COLUMNS, _add_past_findings),
}
