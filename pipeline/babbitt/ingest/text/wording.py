"""What a log says, as it stands in a sentence for a person: on one line, and not too long."""

from __future__ import annotations

from collections.abc import Sequence

_LONGEST = 80
_MOST_LISTED = 12


def tidy(text: str) -> str:
    """Return text of a log with single blanks, without signs that do not print, cut off if long."""
    plain = "".join(sign for sign in " ".join(text.split()) if sign.isprintable())
    return plain if len(plain) <= _LONGEST else f"{plain[:_LONGEST]}…"


def shown(text: str) -> str:
    """Return text of a log in quotes, cut off if it is long."""
    return repr(text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…")


def listed(texts: Sequence[str]) -> str:
    """Return texts of a log in quotes, the first of them where there are many."""
    more = len(texts) - _MOST_LISTED
    some = ", ".join(shown(text) for text in texts[:_MOST_LISTED])
    return f"{some} and {more:,} more" if more > 0 else some
