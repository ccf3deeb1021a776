"""A list of parts, and where they were fitted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from babbitt.errors import RegisterError
from babbitt.exchange.rows import Faults, Row, Step
from babbitt.model.damage_modes import as_named_today
from babbitt.register import Session
from babbitt.register.records import fitments, parts

COLUMNS = ("part_id", "kind", "note", "engine", "position", "fitted_at")


def add_part_list(session: Session, rows: Sequence[Row], faults: Faults) -> list[Step]:
    """Add the parts of a list and their fitments; those that are there already are passed over.

    Args:
        session: of a writing transaction; where there are faults, to be rolled back.
        rows: of the list. A part may be on several: it was fitted more than once.
        faults: takes what is wrong.
    """
    steps: list[Step] = []
    for row in rows:
        with faults.of(row.line):
            steps += _add(session, row)
    return steps


def _add(session: Session, row: Row) -> Iterator[Step]:
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
