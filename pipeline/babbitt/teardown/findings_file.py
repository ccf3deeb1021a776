"""Findings as a builder hands them in: a TOML or CSV file, to findings and back."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from babbitt.errors import RegisterError, tell_faults
from babbitt.model.csv_rows import read_csv_rows, read_number
from babbitt.model.finding import Finding, FindingFields, Measurement, describe_fault
from babbitt.model.toml_text import read_toml, shown

Format = Literal["toml", "csv"]

COLUMNS = (
    "part",
    "position",
    "damage_mode",
    "grade",
    "measurement_name",
    "measurement_value",
    "measurement_unit",
    "measurement_low",
    "measurement_high",
    "disposition",
    "note",
    "photos",
)
"""Columns of a CSV file of findings: the fields of a finding, its measurement's spread out."""

_MEASUREMENT = "measurement_"
_NUMERIC = ("grade", "measurement_value", "measurement_low", "measurement_high")


class FindingsFile(BaseModel):
    """The findings of one teardown; a teardown may be of some parts only."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)

    finding: list[FindingFields] = Field(min_length=1, description="one for each part looked at")


def read_findings(text: str, *, source: str, format: Format) -> tuple[Finding, ...]:  # noqa: A002
    """Read the findings of one teardown; all of them, or none.

    Args:
        text: of the file. CSV has a header of `COLUMNS`, in any order and without those not used;
            comma, semicolon or tab between cells; a decimal comma where the comma is not between
            cells; photos separated by semicolons; rows of blank cells are passed over.
        source: file name to quote in errors.
        format: of the text.

    Raises:
        RegisterError: names every fault in the file, with its entry or line, its field and what to
            do.
    """
    if format == "toml":
        try:
            document = read_toml(text.removeprefix("\ufeff"))
        except ValueError as error:
            raise RegisterError(f"{source} is not TOML: {error}.") from error
        findings, faults = _check(document, _entry, ".")
    else:
        table = read_csv_rows(text, source=source, columns=COLUMNS)
        findings, faults = findings_of_rows(table.rows, decimal_comma=table.decimal_comma)
        faults = [f"line {line}: {clause}" for line, clause in table.faults.items()] + faults
    if faults:
        raise RegisterError(f"{source}: {tell_faults(faults, str)}")
    return findings


def findings_of_rows(
    rows: Mapping[int, Mapping[str, str]], *, decimal_comma: bool
) -> tuple[tuple[Finding, ...], list[str]]:
    """Return the findings of the rows of a table, in their order; or what is wrong with them.

    Args:
        rows: line -> column of `COLUMNS` -> filled cell; at least one.
        decimal_comma: whether numbers may have one.

    Returns:
        The findings, empty where there are faults; and the faults, a clause each.
    """
    lines = list(rows)
    entries = [_fields(row, decimal_comma=decimal_comma) for row in rows.values()]
    return _check({"finding": entries}, lambda index: f"line {lines[index]}", "_")


def write_findings_toml(findings: Iterable[Finding]) -> str:
    """Return the TOML that `read_findings` reads as these findings."""
    return "\n".join(_finding_as_toml(finding) for finding in findings)


def _check(
    document: dict[str, Any], place: Callable[[int], str], joint: str
) -> tuple[tuple[Finding, ...], list[str]]:
    """Return the findings of a document, or what is wrong with it, a clause each."""
    try:
        entries = FindingsFile.model_validate(document).finding
    except ValidationError as error:
        return (), [_describe(fault, place, joint) for fault in error.errors()]
    return tuple(entry.to_value() for entry in entries), []


def _describe(fault: ErrorDetails, place: Callable[[int], str], joint: str) -> str:
    match fault["loc"]:
        case ("finding", int(index)):
            return f"{place(index)}: it is no table: begin it with [[finding]]"
        case ("finding", int(index), *path):
            inner = fault.copy()
            inner["loc"] = tuple(path)
            return f"{place(index)}: {describe_fault(inner, joint=joint)}"
        case ("finding",):
            return "it lists no findings: write one for each part looked at"
        case other:
            return f"unknown key {shown(other[0])}: begin each finding with [[finding]]"


def _entry(index: int) -> str:
    return f"finding {index + 1}"


def _fields(filled: Mapping[str, str], *, decimal_comma: bool) -> dict[str, Any]:
    """Return the filled cells of a row as the fields of a finding."""
    fields: dict[str, Any] = {}
    measurement: dict[str, Any] = {}
    for name, cell in filled.items():
        value: Any = cell
        if name in _NUMERIC:
            number = read_number(cell, decimal_comma=decimal_comma)
            value = cell if number is None else number  # what is no number is refused with others
        if name.startswith(_MEASUREMENT):
            measurement[name.removeprefix(_MEASUREMENT)] = value
        else:
            fields[name] = value
    if measurement:
        fields["measurement"] = measurement
    if "photos" in fields:
        names = (name.strip() for name in filled["photos"].split(";"))
        fields["photos"] = [name for name in names if name]
    return fields


def _finding_as_toml(finding: Finding) -> str:
    lines = ["[[finding]]", f"part = {_quoted(finding.part)}"]
    if finding.position is not None:
        lines.append(f"position = {_quoted(finding.position)}")
    if finding.damage_mode is not None:
        lines.append(f"damage_mode = {_quoted(finding.damage_mode)}")
    lines.append(f"grade = {finding.grade}")
    if finding.measurement is not None:
        lines.append(f"measurement = {_measurement_as_toml(finding.measurement)}")
    lines.append(f"disposition = {_quoted(finding.disposition)}")
    if finding.note:
        lines.append(f"note = {_quoted(finding.note)}")
    if finding.photos:
        lines.append(f"photos = [{', '.join(map(_quoted, finding.photos))}]")
    return "\n".join(lines) + "\n"


def _measurement_as_toml(measurement: Measurement) -> str:
    entries = [
        f"name = {_quoted(measurement.name)}",
        f"value = {float(measurement.value)!r}",
        f"unit = {_quoted(measurement.unit)}",
    ]
    limits = {"low": measurement.low, "high": measurement.high}
    entries += [f"{name} = {float(limit)!r}" for name, limit in limits.items() if limit is not None]
    return f"{{{', '.join(entries)}}}"


def _quoted(text: str) -> str:
    """Return `text` as a basic string of TOML, which a JSON string is where no DEL is in it."""
    return json.dumps(text, ensure_ascii=False)
