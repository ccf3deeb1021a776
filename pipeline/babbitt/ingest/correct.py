"""Better instructions for a log that was taken in as something that it is not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal, TypeVar

from babbitt.errors import SettingsError
from babbitt.ingest.source import Instructions
from babbitt.logbook.settings import Profile, require_channel

_Value = TypeVar("_Value")


@dataclass(frozen=True)
class Correction:
    """What is to be read otherwise than before; what is left out stays as it was.

    Attributes:
        units: channel, or "time" -> unit that it is in.
        columns: header -> channel that it is, or "time".
        swaps: pairs of channels that are in each other's place.
        zeros: channels whose reading with the engine at rest is to be taken off every reading.
        left_out: channels that are not to be believed.
        lateral_positive: the side on which the logger's lateral acceleration is positive.
        started: when the log began.
        profile: of the logger, in place of the one taken.
        profile_name: its name.
    """

    units: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)
    swaps: tuple[tuple[str, str], ...] = ()
    zeros: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    lateral_positive: Literal["left", "right"] | None = None
    started: datetime | None = None
    profile: Profile | None = None
    profile_name: str | None = None


def corrected(
    before: Instructions,
    correction: Correction,
    headers: Mapping[str, str],
    at_rest: Mapping[str, float],
) -> Instructions:
    """Return the instructions that a log should be read with.

    Args:
        before: those that it was read with.
        correction: what was wrong with them.
        headers: channel -> its column in the log, of every channel of the run.
        at_rest: channel -> what it read with the engine at rest, in its canonical unit.

    Raises:
        SettingsError: a channel or unit does not exist, is not in the run, or was never at rest.
    """
    _refuse_unknown(correction)
    after = before
    if correction.profile is not None:
        after = replace(after, profile=correction.profile, profile_name=correction.profile_name)
    for one, other in correction.swaps:
        after = _swapped(after, one, other, headers)
    moved = {*correction.units, *correction.columns.values()}
    offsets = {name: offset for name, offset in after.offsets.items() if name not in moved}
    for name in correction.zeros:
        if name in moved or any(name in pair for pair in correction.swaps):
            raise SettingsError(
                f"What {name} reads with the engine at rest is not known before it was read anew: "
                "correct what else is wrong with it first, and its zero then."
            )
        if name not in at_rest:
            raise SettingsError(
                f"This run does not show {name} with the engine at rest, so its zero is not known."
            )
        offsets[name] = offsets.get(name, 0.0) + at_rest[name]
    profile = after.profile
    if correction.lateral_positive is not None:
        profile = (profile or Profile()).model_copy(
            update={"lateral_positive": correction.lateral_positive}
        )
    made = replace(
        after,
        profile=profile,
        columns={**after.columns, **correction.columns},
        units={**after.units, **correction.units},
        started=correction.started or after.started,
        offsets=offsets,
        left_out=after.left_out | set(correction.left_out),
    )
    made.check()
    return made


def _refuse_unknown(correction: Correction) -> None:
    names = [*(name for pair in correction.swaps for name in pair)]
    names += [*correction.zeros, *correction.left_out]
    try:
        for name in names:
            require_channel(name)
    except ValueError as error:
        raise SettingsError(f"Of what was given, {error}.") from error
    if "rpm" in correction.left_out:
        raise SettingsError("Engine speed cannot be left out: nothing can be judged without it.")


def _swapped(
    before: Instructions, one: str, other: str, headers: Mapping[str, str]
) -> Instructions:
    """Exchange two channels: their columns, and what was stated of the columns under their names.

    Raises:
        SettingsError: the run does not have both.
    """
    for name in (one, other):
        if name not in headers:
            raise SettingsError(f"This run has no {name} to exchange with another channel.")
    profile = before.profile
    units = {**({} if profile is None else profile.units), **before.units}
    if profile is not None:
        left = {name: unit for name, unit in profile.units.items() if name not in (one, other)}
        profile = profile.model_copy(update={"units": left})
    return replace(
        before,
        profile=profile,
        columns={**before.columns, headers[one]: other, headers[other]: one},
        units=_exchanged(units, one, other) if one in units or other in units else before.units,
        offsets=_exchanged(before.offsets, one, other),
    )


def _exchanged(values: Mapping[str, _Value], one: str, other: str) -> dict[str, _Value]:
    names = {one: other, other: one}
    return {names.get(name, name): value for name, value in values.items()}
