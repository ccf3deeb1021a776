"""Words and units that several checks of sensors share."""

from __future__ import annotations

from collections.abc import Mapping

from babbitt.model.channels import channels
from babbitt.model.units import Unit, parse


def title_of(name: str) -> str:
    """Return what begins a sentence about a channel."""
    title = channels()[name].title
    return title[0].upper() + title[1:]


def unit_logged(name: str, logged: Mapping[str, str]) -> Unit:
    """Return the unit that a channel was read in; the canonical one where none is named."""
    canonical = channels()[name].unit
    return parse(logged.get(name, ""), dimension=canonical.dimension) or canonical


def runs_in_words(count: int) -> str:
    """Return how many earlier runs something was compared with."""
    return "1 earlier run" if count == 1 else f"{count} earlier runs"
