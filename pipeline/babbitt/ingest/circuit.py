"""Where a log was recorded, as the notes above its header say it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from babbitt.errors import RegisterError
from babbitt.ingest.text.dialect import Line
from babbitt.ingest.text.headers import fold
from babbitt.ingest.text.numerals import is_blank
from babbitt.ingest.time.dates import key_and_value
from babbitt.model.circuit import circuit_name, same_circuit
from babbitt.model.contracts import read_toml


@dataclass(frozen=True)
class NotedCircuit:
    """A circuit that a log names.

    Attributes:
        name: as written.
        line: where, 1 is the first.
    """

    name: str
    line: int

    @property
    def why(self) -> str:
        """How it is known."""
        return f"Circuit: {self.name}, by line {self.line}."


def circuit_noted(notes: Sequence[Line]) -> NotedCircuit | None:
    """Return the circuit that the notes above a log's header name, None where they name none.

    A value without a letter is a number of something else, and what could be no name is none.

    Args:
        notes: lines above the header.
    """
    found: dict[str, NotedCircuit] = {}
    for line in notes:
        key, value = key_and_value(line)
        name = _name(value)
        if name is not None and any(each.isalpha() for each in name):
            found.setdefault(fold(key), NotedCircuit(name, line.number))
    return next((found[key] for key in _keys() if key in found), None)


def contradiction(noted: NotedCircuit | None, stated: str | None) -> tuple[str, ...]:
    """Warn where the circuit that a person states is not the one that the log names.

    Args:
        noted: by the log.
        stated: by a person; None or "" where nobody did.
    """
    if noted is None or not stated or same_circuit(noted.name, stated):
        return ()
    named = f"The log names the circuit {noted.name} in line {noted.line}"
    return (f"{named}; {circuit_name(stated)} was stated, and counts.",)


def _name(value: str) -> str | None:
    try:
        return None if is_blank(value.strip()) else circuit_name(value)
    except RegisterError:
        return None


@cache
def _keys() -> tuple[str, ...]:
    return tuple(fold(key) for key in read_toml("notes.toml")["circuit"])
