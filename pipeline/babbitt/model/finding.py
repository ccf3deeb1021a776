"""A finding: what the builder saw on a part at teardown, and the rules that every finding keeps."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import ErrorDetails

from babbitt.errors import RegisterError
from babbitt.model.bounds import Figure
from babbitt.model.damage_modes import as_named_today, grades, mode_named, part_named, parts
from babbitt.model.positions import require_position
from babbitt.model.toml_text import shown

Disposition = Literal["reuse", "rework", "replace", "send_out"]
"""What becomes of a part after teardown."""

PHOTO_NAME = re.compile(r"[0-9a-f]{64}\.(?:jpg|png)")
"""File name of a photo as a logbook keeps it: the SHA-256 of what is in it."""


@dataclass(frozen=True)
class Measurement:
    """A measured dimension or load, as built or as found.

    Attributes:
        name: what was measured; those to take of a part are in schemas/causes.toml.
        value: in `unit`.
        unit: of value, low and high, as the builder writes it.
        low: least acceptable value, in `unit`; None: no lower limit.
        high: greatest acceptable value, in `unit`; None: no upper limit.

    Raises:
        RegisterError: it breaks a rule of `MeasurementFields`; names every fault.
    """

    name: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        _require(MeasurementFields, self, "This measurement")

    @property
    def within_tolerance(self) -> bool | None:
        """Whether the value keeps to its limits, which belong to it; None: it has none."""
        if self.low is None and self.high is None:
            return None
        above = self.low is None or self.value >= self.low
        return above and (self.high is None or self.value <= self.high)


@dataclass(frozen=True)
class Finding:
    """What the builder saw on a part at teardown.

    Attributes:
        part: kind of part of schemas/causes.toml.
        position: of model/positions.py; None: there is one such part, or the finding is of the
            whole set.
        damage_mode: of that part; None, with grade 0: looked at and sound for all its modes.
        grade: 0 sound to 4 failed; the scale is in schemas/causes.toml.
        measurement: what was measured; None: nothing was.
        disposition: what becomes of the part.
        note: in the builder's words.
        photos: file names; once recorded, those of the photos kept in the logbook.

    Raises:
        RegisterError: it breaks a rule of `FindingFields`; names every fault.
    """

    part: str
    position: str | None
    damage_mode: str | None
    grade: int
    measurement: Measurement | None
    disposition: Disposition
    note: str = ""
    photos: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _require(FindingFields, self, "This finding")


def _label(text: str) -> str:
    if not text or text != text.strip():
        raise ValueError("write a word or more, without blanks around them")
    return _printable(text, allowed="")


def _prose(text: str) -> str:
    return _printable(text, allowed="\n\r\t")


def _printable(text: str, *, allowed: str) -> str:
    """Return `text` where every database and file can hold it: no controls or surrogates."""
    for letter in text:
        if unicodedata.category(letter) in ("Cc", "Cs") and letter not in allowed:
            raise ValueError(f"take the control character U+{ord(letter):04X} out")
    return text


Label = Annotated[str, AfterValidator(_label)]
Prose = Annotated[str, AfterValidator(_prose)]


class _Fields(BaseModel):
    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        from_attributes=True,
        defer_build=True,
    )


class MeasurementFields(_Fields):
    """The fields of a measurement as they are written, and their rules."""

    name: Label = Field(description="what was measured")
    value: Figure = Field(description="the measured value, in unit")
    unit: Label = Field(description="unit of value, low and high, for instance mm")
    low: Figure | None = Field(default=None, description="least acceptable value, in unit")
    high: Figure | None = Field(default=None, description="greatest acceptable value, in unit")

    @field_validator("high")
    @classmethod
    def _limits_in_order(cls, high: float | None, others: ValidationInfo) -> float | None:
        low = others.data.get("low")
        if low is not None and high is not None and high < low:
            raise ValueError(f"low, {low}, lies above it: exchange them")
        return high

    def to_value(self) -> Measurement:
        """Return the measurement they make."""
        return Measurement(self.name, self.value, self.unit, self.low, self.high)


def _list_parts(schema: dict[str, Any]) -> None:
    schema["enum"] = list(parts())


def _list_grades(schema: dict[str, Any]) -> None:
    schema["enum"] = [step.value for step in grades()]


class FindingFields(_Fields):
    """The fields of a finding as they are written, and their rules."""

    part: str = Field(
        description="kind of part, as schemas/causes.toml names it", json_schema_extra=_list_parts
    )
    position: str | None = Field(
        default=None,
        description="cylinder, crankpin or main journal, counted from 1 front to rear, bank, or "
        "end of the turbocharger; left out: the only one, or the whole set",
    )
    damage_mode: str | None = Field(
        default=None,
        description="damage mode of the part; left out with grade 0: sound for all its modes",
    )
    grade: int = Field(
        description="0 sound to 4 failed, by the scale of schemas/causes.toml",
        json_schema_extra=_list_grades,
    )
    measurement: MeasurementFields | None = Field(default=None, description="what was measured")
    disposition: Disposition = Field(
        description="what becomes of the part: reuse, rework, replace or send_out"
    )
    note: Prose = Field(default="", description="in the builder's words")
    photos: tuple[Label, ...] = Field(
        default=(), strict=False, description="file names of JPEG or PNG photos"
    )

    @model_validator(mode="before")
    @classmethod
    def _named_today(cls, fields: Any) -> Any:
        return as_named_today(fields) if isinstance(fields, dict) else fields

    @field_validator("part")
    @classmethod
    def _part_exists(cls, part: str) -> str:
        with _as_fault():
            part_named(part)
        return part

    @field_validator("position")
    @classmethod
    def _position_fits(cls, position: str | None, others: ValidationInfo) -> str | None:
        if "part" in others.data:
            with _as_fault():
                require_position(others.data["part"], position)
        return position

    @field_validator("damage_mode")
    @classmethod
    def _mode_exists(cls, damage_mode: str | None, others: ValidationInfo) -> str | None:
        if damage_mode is not None and "part" in others.data:
            with _as_fault():
                mode_named(others.data["part"], damage_mode)
        return damage_mode

    @field_validator("grade")
    @classmethod
    def _grade_fits(cls, grade: int, others: ValidationInfo) -> int:
        scale = {step.value: step.title for step in grades()}
        if grade not in scale:
            steps = ", ".join(f"{value} ({title})" for value, title in scale.items())
            raise ValueError(f"write one of {steps}")
        if grade > 0 and others.data.get("damage_mode", "unusable") is None:
            raise ValueError("a grade above 0 needs a damage_mode: add it")
        return grade

    def to_value(self) -> Finding:
        """Return the finding they make."""
        return Finding(
            part=self.part,
            position=self.position,
            damage_mode=self.damage_mode,
            grade=self.grade,
            measurement=None if self.measurement is None else self.measurement.to_value(),
            disposition=self.disposition,
            note=self.note,
            photos=self.photos,
        )


_ADVICE = {
    "string_type": "write text, in quotes",
    "int_type": "write a whole number",
    "float_type": "write a number, like 0.071",
    "finite_number": "write a finite number",
    "tuple_type": 'write a list, like ["a.jpg"]',
    "model_attributes_type": 'write a table, like {name = "clearance", value = 0.05, unit = "mm"}',
}


def describe_fault(fault: ErrorDetails, *, joint: str = ".") -> str:
    """Return a fault that `FindingFields` found, as a clause: which field, and what to do.

    Args:
        fault: of the ValidationError.
        joint: between the names of a field and of the field it lies in.
    """
    names = [part for part in fault["loc"] if isinstance(part, str)]
    path = joint.join(names)
    value = shown(fault["input"])
    match fault["type"]:
        case "missing":
            return f"{path!r} is missing ({_all_fields()[names[-1]].description})"
        case "extra_forbidden":
            model = MeasurementFields if names[:-1] == ["measurement"] else FindingFields
            return f"unknown key {shown(path)} ({_nearest(names[-1], list(model.model_fields))})"
        case "value_error":
            return f"{path!r} is {value}: {fault['ctx']['error']}"
        case "literal_error":
            return f"{path!r} is {value}: write {fault['ctx']['expected']}"
        case kind:
            return f"{path!r} is {value}: {_ADVICE.get(kind, fault['msg'])}"


def _all_fields() -> dict[str, Any]:
    """Every field by name; a measurement's have other names than a finding's."""
    return {**MeasurementFields.model_fields, **FindingFields.model_fields}


def _nearest(name: str, known: list[str]) -> str:
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]!r}?" if close else f"known here: {', '.join(known)}"


def _require(model: type[_Fields], value: object, subject: str) -> None:
    try:
        model.model_validate(value)
    except ValidationError as error:
        faults = "; ".join(describe_fault(fault) for fault in error.errors())
        raise RegisterError(f"{subject} cannot be taken: {faults}.") from error


@contextmanager
def _as_fault() -> Iterator[None]:
    """Make a refusal of the foundations the fault of one field."""
    try:
        yield
    except RegisterError as error:
        sentence = str(error).removesuffix(".")
        raise ValueError(sentence[0].lower() + sentence[1:]) from error
