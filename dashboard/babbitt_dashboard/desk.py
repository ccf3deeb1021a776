"""What the pages work with: the logbook that is open, the clock, and who looks on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import flask

from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import zone
from babbitt.present.figures.ink import DARK, LIGHT, Ink
from babbitt.present.views.foresight import Foresight
from babbitt.present.words import Reader

UNITS_COOKIE = "units"
THEME_COOKIE = "theme"


@dataclass(frozen=True)
class Desk:
    """What every page works with.

    Attributes:
        book: the logbook.
        now: tells the time, UTC.
        who: the name under which the journal writes down a change.
    """

    book: Logbook
    now: Callable[[], datetime]
    who: str

    @cached_property
    def foresight(self) -> Foresight:
        """What the record foretells, worked out once for each state of it."""
        return Foresight(self.book)

    @property
    def reader(self) -> Reader:
        """Who looks on: the units chosen in this browser, else those of the logbook."""
        settings = self.book.settings
        chosen = _cookie(UNITS_COOKIE)
        system = chosen if chosen in ("metric", "imperial") else settings.units
        return Reader(system, zone(settings.timezone))

    @property
    def ink(self) -> Ink:
        """The colours of figures for this browser."""
        return DARK if _cookie(THEME_COOKIE) == "dark" else LIGHT


def _cookie(name: str) -> str | None:
    return flask.request.cookies.get(name) if flask.has_request_context() else None
