"""What was done to the channels of a run on the way in: sentences that can be read back."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

from babbitt.model.channels import Channel, channels

_UNIT = re.compile(r"(?P<title>.+?): (?P<was>\S+) to \S+ \(.+\)\.")
_TURNED = "sign turned, from positive to the right to ISO 8855."
_KEPT = "taken as positive to the left, as in ISO 8855."


def unit_changed(channel: Channel, was: str, basis: str) -> str:
    """Return the sentence that says from which unit a channel was converted, and how that is known.

    Args:
        channel: now in its own unit.
        was: symbol of the unit before.
        basis: how that is known.
    """
    return f"{_title(channel)}: {was} to {channel.unit.symbol} ({basis})."


def ambient_taken(channel: Channel, kpa: float, source: str) -> str:
    """Return the sentence that says which ambient pressure was taken from an absolute one."""
    return f"{_title(channel)}: absolute, less {kpa:.2f} kPa ambient ({source})."


def offset_taken(channel: Channel, offset: float) -> str:
    """Return the sentence that says what was taken off every reading."""
    return f"{_title(channel)}: less {offset:.4g} {channel.unit.symbol}, as stated."


def lateral_sign(channel: Channel, *, turned: bool) -> str:
    """Return the sentence that says which side lateral acceleration was taken to be positive on."""
    return f"{_title(channel)}: {_TURNED if turned else _KEPT}"


def units_logged(conversions: Iterable[str]) -> dict[str, str]:
    """Return channel -> symbol of the unit it was converted from, of those that were."""
    names = {_title(channel): name for name, channel in channels().items()}
    found = [_UNIT.fullmatch(sentence) for sentence in conversions]
    return {names[match["title"]]: match["was"] for match in found if match}


def lateral_positive(conversions: Iterable[str]) -> Literal["left", "right"]:
    """Return the side on which lateral acceleration was taken to be positive in the log."""
    return "right" if any(sentence.endswith(_TURNED) for sentence in conversions) else "left"


def _title(channel: Channel) -> str:
    return channel.title[0].upper() + channel.title[1:]
