"""Text as people type it and as a terminal may show it."""

from __future__ import annotations

import unicodedata
from datetime import datetime, timedelta, tzinfo

_KEPT_CONTROLS = "\n\t"


FIRST_YEAR, LAST_YEAR = 1900, 2200


def parse_instant(text: str) -> datetime:
    """Read an instant: an ISO 8601 date, or date and time, with or without an offset from UTC.

    Raises:
        ValueError: it is none, or no engine ran then: zones and spans lead past the calendar's end.
    """
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise ValueError(
            f"{text!r} is no date or time; write it like 2026-05-03 or 2026-05-03T14:30"
        ) from error
    if not FIRST_YEAR <= at.year <= LAST_YEAR:
        raise ValueError(f"{text!r} lies outside {FIRST_YEAR} to {LAST_YEAR}; check the year")
    return at


def past_moment(text: str, what: str, timezone: tzinfo, now: datetime) -> datetime:
    """Read the instant of something that happened.

    Args:
        text: as typed.
        what: its name, for errors.
        timezone: of an instant that states none.
        now: what o'clock it is.

    Raises:
        ValueError: it is none, or lies ahead by more than clocks and zones differ.
    """
    at = parse_instant(text)
    at = at if at.tzinfo else at.replace(tzinfo=timezone)
    if at > now + timedelta(days=1):
        raise ValueError(f"{what} {text} lies in the future: check the date.")
    return at


def visible(text: str) -> str:
    """Return text with every sign that would work on a terminal, and not be seen, written out."""
    if text.isprintable():
        return text
    return "".join(_written_out(letter) for letter in text)


def _written_out(letter: str) -> str:
    works = unicodedata.category(letter) in ("Cc", "Cf", "Cs") and letter not in _KEPT_CONTROLS
    return letter.encode("unicode_escape").decode("ascii") if works else letter


def capital(text: str) -> str:
    """Return a text with a capital to begin a sentence with."""
    return text[:1].upper() + text[1:]
