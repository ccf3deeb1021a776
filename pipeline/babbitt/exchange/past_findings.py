"""Findings of teardowns from before the logs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from babbitt.exchange.rows import Faults, Row, Step
from babbitt.model.finding import Finding
from babbitt.register import Session
from babbitt.register.records import teardowns
from babbitt.teardown import findings_file

COLUMNS = ("engine", "at", *findings_file.COLUMNS)


def add_past_findings(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add findings, those of one engine and instant as one teardown; not those that are there.

    Args:
        session: of a writing transaction; where there are faults, to be rolled back.
        rows: each a finding.
        faults: takes what is wrong.
    """
    found = _findings(rows, faults)
    by_teardown: dict[tuple[str, datetime], list[tuple[Row, Finding]]] = {}
    for row in rows:
        engine_id = row.required("engine")
        row.required("at")
        at = row.past("at")
        if "photos" in row.cells:
            row.fault("photos", "leave it blank and add them with `babbitt teardown record`")
        if engine_id and at is not None and row.line in found:
            by_teardown.setdefault((engine_id, at), []).append((row, found[row.line]))
    steps: list[Step] = []
    for (engine_id, at), given in by_teardown.items():
        with faults.of(given[0][0].line):
            steps += _add(session, engine_id, at, given)
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


def _add(
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
