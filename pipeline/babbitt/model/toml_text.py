"""TOML as people hand it in: read whole, or refused before it can keep anyone waiting."""

from __future__ import annotations

import reprlib
import tomllib
from typing import Any

MOST_CHARACTERS = 1_000_000
"""A file may have no more: the largest that people write have a fiftieth of it (our own guess)."""

_MOST_DOTS = 200
"""A line may have no more: reading a dotted key takes time by the square of its parts."""

_LONGEST_SHOWN = 60


def read_toml(text: str) -> dict[str, Any]:
    """Return what a TOML file says.

    Raises:
        ValueError: it is none, too large, or nests too deep; the message is a clause.
    """
    if len(text) > MOST_CHARACTERS:
        raise ValueError(f"it has more than {MOST_CHARACTERS:,} characters")
    # As TOML ends lines: what else Python takes for an end would hide dots from the count.
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > _MOST_DOTS:
            raise ValueError(f"line {number} has more than {_MOST_DOTS} dots")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("it nests too deep") from error


def shown(value: object) -> str:
    """Return a value from such a file as a message shows it: shortened where it is long."""
    try:
        text = repr(value)
    except ValueError:  # Python writes out no integer of more than some thousand digits
        return "a number of thousands of digits"
    return text if len(text) <= _LONGEST_SHOWN else reprlib.repr(value)
