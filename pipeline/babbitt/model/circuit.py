"""The name of a circuit: neither case nor white space tells one from another."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from babbitt.errors import RegisterError

LONGEST = 64
"""Characters of the longest name, which is as much as the register keeps."""


def circuit_name(text: str) -> str | None:
    """Return a name as it is kept, each stretch of white space a single space; None for none.

    Raises:
        RegisterError: it is too long, or holds what nobody can read.
    """
    name = " ".join(text.split())
    if not name.isprintable():
        raise RegisterError(f"{name[:LONGEST]!r} is no name of a circuit: type it anew.")
    if len(name) > LONGEST:
        raise RegisterError(
            f"{name[:LONGEST]!r} and so on is no name of a circuit: give at most {LONGEST} "
            "characters."
        )
    return name or None


def same_circuit(name: str | None, other: str | None) -> bool:
    """Tell whether two names mean one circuit; what nobody said means none."""
    return name is not None and other is not None and _folded(name) == _folded(other)


def one_spelling(names: Sequence[str]) -> tuple[str, ...]:
    """Return each circuit once, by the first of its spellings, in the order of the alphabet."""
    spelled = {_folded(name): name for name in reversed(names)}
    return tuple(spelled[key] for key in sorted(spelled))


def known_in_words(names: Sequence[str]) -> str:
    """Return the circuits that are known, in a sentence that says how more come to be."""
    if not names:
        return "No run says where it was: tell that first."
    noun = "circuit" if len(names) == 1 else "circuits"
    return f"Known {noun}: {', '.join(names)}."


@lru_cache(maxsize=1024)  # asked of every run of a fleet again and again
def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()
