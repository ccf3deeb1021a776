"""Numbers that no engine and no shop has are refused, wherever they are written."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterator

import pytest

from babbitt.errors import BabbittError
from babbitt.logbook.settings import parse_settings
from babbitt.model.contracts import read_text
from babbitt.model.engine_spec import EngineSpec, parse_spec
from babbitt.teardown.build_sheet import read_sheet
from babbitt.teardown.findings_file import read_findings
from invented import SPEC

SCHEMA = json.loads(read_text("engine-spec.schema.json"))
BEYOND = ("1e300", "-1e300", "10" + "0" * 400, "inf", "nan")


def numbers() -> Iterator[tuple[str, str]]:
    """Yield every section and key of a spec that holds a number."""
    for section, part in SCHEMA["properties"].items():
        of_section = SCHEMA["$defs"][part["$ref"].rsplit("/", 1)[1]]
        for key, about in of_section["properties"].items():
            kinds = {each.get("type") for each in (about, *about.get("anyOf", ()))}
            if kinds & {"number", "integer"}:
                yield section, key


@pytest.mark.parametrize("beyond", BEYOND, ids=lambda text: text[:8])
@pytest.mark.parametrize("doses", ["{}", "{{one_in_ten = {}}}", "{{one_in_ten = 1, half = {}}}"])
def test_no_life_is_beyond_reach(doses: str, beyond: str) -> None:
    text = f"{SPEC}[life]\nover_rev = {doses.format(beyond)}\n"
    with pytest.raises(BabbittError, match=r"'life\.over_rev\.(one_in_ten|half)'") as refused:
        parse_spec(text, source="e.toml")
    assert len(str(refused.value)) < 500


def written(sections: dict[str, dict[str, object]]) -> str:
    lines = []
    for section, values in sections.items():
        lines += [f"[{section}]"]
        lines += [
            f"{key} = {value if key == 'beyond' else json.dumps(value)}"
            for key, value in values.items()
        ]
    return "\n".join(lines)


@pytest.mark.parametrize("beyond", BEYOND, ids=lambda text: text[:8])
@pytest.mark.parametrize(("section", "key"), list(numbers()))
def test_no_number_of_a_spec_is_beyond_what_an_engine_can_be(
    section: str, key: str, beyond: str
) -> None:
    sections = copy.deepcopy(tomllib.loads(SPEC))
    sections.setdefault(section, {})[key] = "BEYOND"
    text = written(sections).replace('"BEYOND"', beyond)
    with pytest.raises(BabbittError, match=r"e\.toml") as refused:
        parse_spec(text, source="e.toml")
    assert key in str(refused.value)
    assert len(str(refused.value)) < 500


def test_every_number_of_a_spec_is_bounded_on_both_sides() -> None:
    schema = EngineSpec.model_json_schema()
    for section, key in numbers():
        name = schema["properties"][section]["$ref"].rsplit("/", 1)[1]
        about = schema["$defs"][name]["properties"][key]
        held = next((e for e in about.get("anyOf", ()) if e.get("type") == "number"), about)
        assert held.keys() & {"maximum", "exclusiveMaximum"}, (section, key)
        assert held.keys() & {"minimum", "exclusiveMinimum"}, (section, key)


@pytest.mark.parametrize("beyond", BEYOND, ids=lambda text: text[:8])
@pytest.mark.parametrize("line", ["running_h = {}", "revolutions = {}", "dose = {{over_rev = {}}}"])
def test_no_service_limit_is_beyond_reach(line: str, beyond: str) -> None:
    text = f"schema_version = 1\n[service.rod_bearing]\n{line.format(beyond)}\n"
    with pytest.raises(BabbittError, match=r"logbook\.toml"):
        parse_settings(text, source="logbook.toml")


MEASURED = 'name = "clearance"\nvalue = 0.05\nunit = "mm"\nlow = 0.04\nhigh = 0.06\n'


@pytest.mark.parametrize("beyond", BEYOND, ids=lambda text: text[:8])
@pytest.mark.parametrize("number", ["0.05", "0.04", "0.06"])
def test_no_measurement_is_beyond_what_can_be_measured(number: str, beyond: str) -> None:
    measured = MEASURED.replace(number, beyond)
    sheet = f'[[measurement]]\npart = "rod_bearing"\nposition = "1"\n{measured}'
    with pytest.raises(BabbittError, match=r"s\.toml"):
        read_sheet(sheet, source="s.toml")
    found = (
        '[[finding]]\npart = "rod_bearing"\nposition = "1"\ngrade = 0\ndisposition = "reuse"\n'
        f"[finding.measurement]\n{measured}"
    )
    with pytest.raises(BabbittError, match=r"f\.toml"):
        read_findings(found, source="f.toml", format="toml")
