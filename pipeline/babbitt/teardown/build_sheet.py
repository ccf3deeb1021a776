"""The build sheet of a refresh, read from TOML: what was done with each part, what was measured.

::

    [[line]]
    part = "rod_bearing"        # of schemas/causes.toml
    position = "2"              # optional
    action = "replaced"         # replaced, reworked or reused
    part_id = "RB7-2"           # the tracked part that sits there now; optional
    note = ""                   # optional

    [[measurement]]
    part = "rod_bearing"        # optional: a stud is of no part
    position = "2"              # optional
    name = "clearance"
    value = 0.051
    unit = "mm"
    low = 0.045                 # optional
    high = 0.065                # optional
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from babbitt.errors import RegisterError, tell_faults
from babbitt.model.bounds import Figure
from babbitt.model.damage_modes import as_named_today
from babbitt.model.finding import Measurement
from babbitt.model.part_records import Action, BuiltMeasurement, SheetLine
from babbitt.model.toml_text import read_toml

_LONGEST_PLACE = 80
"""Letters of the name of a key that a message shows."""


class _Fields(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)


class _OfPart(_Fields):
    @model_validator(mode="before")
    @classmethod
    def _named_today(cls, fields: Any) -> Any:
        return as_named_today(fields) if isinstance(fields, dict) else fields


class _Line(_OfPart):
    part: str
    position: str | None = None
    action: Action
    part_id: str | None = None
    note: str = ""


class _Measured(_OfPart):
    part: str | None = None
    position: str | None = None
    name: str
    value: Figure
    unit: str
    low: Figure | None = None
    high: Figure | None = None


class _Sheet(_Fields):
    line: list[_Line] = Field(default_factory=list)
    measurement: list[_Measured] = Field(default_factory=list)


def read_sheet(
    text: str, *, source: str
) -> tuple[tuple[SheetLine, ...], tuple[BuiltMeasurement, ...]]:
    """Read the lines and the measurements of a build sheet.

    Args:
        text: the TOML.
        source: file name to quote in errors.

    Raises:
        RegisterError: it is not TOML, or entries cannot be used; names every fault at once.
    """
    try:
        sheet = _Sheet.model_validate(read_toml(text))
    except ValidationError as error:
        raise RegisterError(f"{source}: {tell_faults(error.errors(), _clause)}") from error
    except ValueError as error:
        raise RegisterError(f"{source} is not TOML: {error}.") from error
    lines = tuple(SheetLine(**line.model_dump()) for line in sheet.line)
    measurements = tuple(
        BuiltMeasurement(
            Measurement(each.name, each.value, each.unit, each.low, each.high),
            part=each.part,
            position=each.position,
        )
        for each in sheet.measurement
    )
    return lines, measurements


def _clause(fault: ErrorDetails) -> str:
    place = ".".join(str(p + 1 if isinstance(p, int) else p) for p in fault["loc"])
    return f"{place[:_LONGEST_PLACE]}: {fault['msg'][0].lower()}{fault['msg'][1:]}"
