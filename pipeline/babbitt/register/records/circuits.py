"""The circuits that runs were at, each spelled as it was written first."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from babbitt.model.circuit import circuit_name, one_spelling, same_circuit
from babbitt.register.tables.models import RunRow


def circuits_known(session: Session) -> tuple[str, ...]:
    """Return the circuits that any run was at, removed ones among them, in alphabetical order."""
    return one_spelling(_written(session))


def spelled(session: Session, circuit: str) -> str | None:
    """Return a circuit as it was written first, in another run perhaps; None where it is blank.

    Args:
        session: of a transaction.
        circuit: as a person or a log writes it.

    Raises:
        RegisterError: the name is too long.
    """
    name = circuit_name(circuit)
    return next((each for each in _written(session) if same_circuit(each, name)), name)


def at_circuit(session: Session, circuit: str) -> ColumnElement[bool]:
    """Return the condition under which a run was at a circuit, however that is written."""
    return RunRow.circuit.in_([each for each in _written(session) if same_circuit(each, circuit)])


def _written(session: Session) -> list[str]:
    """Return every spelling of every circuit, those written first before the others."""
    names: Iterable[str | None] = session.scalars(
        select(RunRow.circuit)
        .where(RunRow.circuit.is_not(None))
        .group_by(RunRow.circuit)
        .order_by(func.min(RunRow.ingested_at), RunRow.circuit)
    )
    return [name for name in names if name is not None]
