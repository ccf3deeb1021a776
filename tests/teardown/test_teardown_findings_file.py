"""Findings files: read whole or refused whole, and written so that they read the same."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.contracts import read_text
from babbitt.model.finding import Finding, FindingFields, Measurement
from babbitt.teardown.findings_file import COLUMNS, FindingsFile, read_findings, write_findings_toml
from made_findings import findings, notes

TOML = """
[[finding]]
part = "rod_bearing"
position = "2"
damage_mode = "wiped"
grade = 3
measurement = {name = "clearance", value = 0.071, unit = "mm", low = 0.045, high = 0.065}
disposition = "replace"
note = "over the oil hole"
photos = ["shell.jpg", "shell back.png"]

[[finding]]
part = "rod_bearing"
position = "1"
grade = 0
disposition = "reuse"
"""
CSV = """\
part,position,damage_mode,grade,measurement_name,measurement_value,measurement_unit,\
measurement_low,measurement_high,disposition,note,photos
rod_bearing,2,wiped,3,clearance,0.071,mm,0.045,0.065,replace,over the oil hole,\
shell.jpg;shell back.png
rod_bearing,1,,0,,,,,,reuse,,
"""
FROM_A_COMMA_COUNTRY = """\
\ufeffgrade;part;position;damage_mode;disposition;note;photos;measurement_name;measurement_value;\
measurement_unit;measurement_low;measurement_high\r
;;;;;;;;;;;\r
3;rod_bearing;2;wiped;replace;over the oil hole;"shell.jpg; shell back.png";clearance;0,071;mm;\
0,045;,065\r
0; rod_bearing ;1;;reuse;;;;;;;\r
"""
FOUND = (
    Finding(
        part="rod_bearing",
        position="2",
        damage_mode="wiped",
        grade=3,
        measurement=Measurement("clearance", 0.071, "mm", 0.045, 0.065),
        disposition="replace",
        note="over the oil hole",
        photos=("shell.jpg", "shell back.png"),
    ),
    Finding("rod_bearing", "1", None, 0, None, "reuse"),
)


def read_toml(text: str) -> tuple[Finding, ...]:
    return read_findings(text, source="may.toml", format="toml")


def read_csv(text: str) -> tuple[Finding, ...]:
    return read_findings(text, source="may.csv", format="csv")


def refusal_of(read, text: str) -> str:
    with pytest.raises(RegisterError) as refused:
        read(text)
    message = str(refused.value)
    assert message.endswith(".")
    return message


def as_csv(found, *, delimiter: str, decimal: str) -> str:
    """A spreadsheet's CSV of findings."""

    def cell(value) -> str:
        if value is None:
            return ""
        return repr(value).replace(".", decimal) if isinstance(value, float) else str(value)

    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=delimiter)
    writer.writerow(COLUMNS)
    for one in found:
        m = one.measurement
        measured = (m.name, m.value, m.unit, m.low, m.high) if m else (None,) * 5
        cells = (one.part, one.position, one.damage_mode, one.grade, *measured)
        cells += (one.disposition, one.note, ";".join(one.photos))
        writer.writerow(map(cell, cells))
    return file.getvalue()


def test_toml_is_read() -> None:
    assert read_toml(TOML) == FOUND


@pytest.mark.parametrize("text", [CSV, CSV.replace(",", "\t"), FROM_A_COMMA_COUNTRY])
def test_csv_is_read_as_spreadsheets_write_it(text) -> None:
    assert read_csv(text) == FOUND


def test_a_teardown_of_one_part_only_is_read_from_the_columns_it_needs() -> None:
    found = read_csv("part,position,grade,disposition\nrod_bearing,1,0,reuse\n")
    assert found == FOUND[1:]


def test_a_byte_order_mark_is_no_part_of_the_text() -> None:
    assert read_toml("\ufeff" + TOML) == FOUND


@given(st.lists(findings(), min_size=1, max_size=3))
@settings(deadline=None)
def test_written_toml_reads_the_same(found) -> None:
    text = write_findings_toml(found)
    assert read_toml(text) == tuple(found)
    schema_of_findings().validate(tomllib.loads(text))


def test_a_measurement_in_whole_numbers_reads_the_same() -> None:
    found = (Finding("valve_spring", "3", None, 0, Measurement("load", 900, "N"), "reuse"),)
    assert read_toml(write_findings_toml(found)) == found


@given(
    findings().filter(
        lambda one: one.note == one.note.strip() and not any(";" in name for name in one.photos)
    ),
    st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ",")]),
)
@settings(deadline=None)
def test_csv_means_what_toml_means(found, marks) -> None:
    delimiter, decimal = marks
    assert read_csv(as_csv([found], delimiter=delimiter, decimal=decimal)) == (found,)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('part = "rod_bearing"', 'part = "rod_bering"', "finding 1: 'part' is 'rod_bering': there"),
        ("grade = 3", "grade = 7", "finding 1: 'grade' is 7: write one of 0 (sound)"),
        ("grade = 3\n", "", "finding 1: 'grade' is missing (0 sound to 4 failed"),
        ("grade = 0", "grad = 0", "finding 2: unknown key 'grad' (did you mean 'grade'?)"),
        ("grade = 0", "grade = 1", "finding 2: 'grade' is 1: a grade above 0 needs a damage_mode"),
        ('position = "1"', "position = 1", "finding 2: 'position' is 1: write text, in quotes"),
        (', unit = "mm"', "", "finding 1: 'measurement.unit' is missing (unit of value"),
        (
            "low = 0.045",
            "least = 0.045",
            "unknown key 'measurement.least' (known here: name, value",
        ),
        ("value = 0.071", "value = nan", "finding 1: 'measurement.value' is nan: write a finite"),
        ("low = 0.045", "low = 0.5", "'measurement.high' is 0.065: low, 0.5, lies above it"),
        ('"replace"', '"scrap"', "finding 1: 'disposition' is 'scrap': write 'reuse', 'rework'"),
        ('["shell.jpg", "shell back.png"]', '"shell.jpg"', "is 'shell.jpg': write a list"),
        ("[[finding]]\npart", "[[findings]]\npart", "unknown key 'findings': begin each finding"),
        (TOML, "[finding]", "may.toml: it lists no findings: write one for each part looked at."),
        (TOML, "", "may.toml: it lists no findings"),
        (TOML, "finding = [1]", "may.toml: finding 1: it is no table: begin it with [[finding]]."),
        (TOML, "part: rod", "may.toml is not TOML: Expected '=' after a key"),
        (TOML, "grade = " + "9" * 5000, "may.toml is not TOML"),
        (TOML, "finding = " + "[" * 5000, "may.toml is not TOML"),
    ],
)
def test_a_fault_in_toml_is_named_with_its_entry(old, new, words) -> None:
    assert old in TOML
    message = refusal_of(read_toml, TOML.replace(old, new, 1))
    assert message.startswith("may.toml")
    assert words in message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("rod_bearing,2", "rod_bering,2", "line 2: 'part' is 'rod_bering': there is no part"),
        ("wiped,3", "wiped,three", "line 2: 'grade' is 'three': write a whole number"),
        (",mm,", ",,", "line 2: 'measurement_unit' is missing (unit of value, low and high"),
        ("0.071", '"0,071"', "line 2: 'measurement_value' is '0,071': write a number, like 0.071"),
        ("0.071", "1_0", "line 2: 'measurement_value' is '1_0': write a number"),
        ("0.071", "1e999", "line 2: 'measurement_value' is inf: write a finite number"),
        ("0.071", "0,071", "line 2: it has 13 cells and the header 12: put cells that hold"),
        ("reuse,,", "reuse", "line 3: it has 10 cells and the header 12"),
        ("1,,0,,,,,,reuse", "1,,0,,,,,,", "line 3: 'disposition' is missing (what becomes of"),
        ("damage_mode", "damagemode", "line 1: unknown column 'damagemode' (did you mean 'dam"),
        ("damage_mode", "xyz", "line 1: unknown column 'xyz' (known: part, position, damage_mode"),
        ("damage_mode", "part", "line 1: column 'part' is there twice: take one away"),
        ("damage_mode", "", "line 1: a column has no name: name it or take it away"),
        (
            "over the",
            '"over the',
            "line 2: its cells cannot be told apart (unexpected end of data)",
        ),
        (CSV, "\n\n", "may.csv: it lists no findings: write one for each part looked at."),
        (CSV, "part,grade\n", "may.csv: it lists no findings"),
    ],
)
def test_a_fault_in_csv_is_named_with_its_line(old, new, words) -> None:
    assert old in CSV
    message = refusal_of(read_csv, CSV.replace(old, new, 1))
    assert message.startswith("may.csv")
    assert words in message


def test_a_number_with_a_comma_and_a_point_is_refused_rather_than_guessed() -> None:
    text = FROM_A_COMMA_COUNTRY.replace("0,071", "1.000,5")
    assert "line 3: 'measurement_value' is '1.000,5'" in refusal_of(read_csv, text)


def test_lines_are_counted_across_cells_of_several_lines() -> None:
    text = CSV.replace("over the oil hole", '"over the\noil hole"').replace(",0,", ",9,")
    assert "line 4: 'grade' is 9" in refusal_of(read_csv, text)


def test_all_faults_of_a_file_are_named_at_once() -> None:
    text = CSV.replace("wiped,3", "wipped,3").replace(",0,", ",,") + "keeper,1\n"
    message = refusal_of(read_csv, text)
    assert "line 2: 'damage_mode' is 'wipped'" in message
    assert "line 3: 'grade' is missing" in message
    assert "line 4: it has 2 cells and the header 12" in message


@given(st.text() | st.text("part,;\n\"'grade=[]{}#0123.\t"))
@settings(deadline=None)
def test_any_text_is_read_or_refused(text) -> None:
    for read in (read_toml, read_csv):
        with contextlib.suppress(RegisterError):
            assert read(text)


_anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | notes | st.dates(),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(notes, inner, max_size=2),
    max_leaves=4,
)


@given(st.sampled_from(list(FindingFields.model_fields)), _anything)
@settings(deadline=None)
def test_what_the_model_accepts_fits_the_schema(field, value) -> None:
    document = tomllib.loads(TOML)
    document["finding"][0][field] = value
    try:
        FindingsFile.model_validate(document)
    except ValueError:
        return
    schema_of_findings().validate(document)


def schema_of_findings() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(read_text("findings.schema.json")))


def test_the_schema_is_that_of_the_model() -> None:
    """To make it anew, write FindingsFile.model_json_schema() behind the line of $schema."""
    found = dict(schema_of_findings().schema)
    assert found.pop("$schema") == "https://json-schema.org/draft/2020-12/schema"
    assert found == FindingsFile.model_json_schema()


def test_the_columns_of_csv_are_the_fields_of_a_finding() -> None:
    schema = schema_of_findings().schema["$defs"]
    fields = [name for name in schema["FindingFields"]["properties"] if name != "measurement"]
    measured = [f"measurement_{name}" for name in schema["MeasurementFields"]["properties"]]
    assert sorted(COLUMNS) == sorted(fields + measured)
