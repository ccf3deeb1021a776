"""Findings: what is accepted, what is refused and in which words."""

from __future__ import annotations

import dataclasses
import math

import pytest

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import parts
from babbitt.model.finding import Finding, Measurement

CLEARANCE = Measurement("clearance", 0.071, "mm", 0.045, 0.065)
WIPED = Finding(
    "rod_bearing", "2", "wiped", 3, CLEARANCE, "replace", "over the oil hole", ("a.jpg",)
)
A_POSITION = {
    "cylinder": "1",
    "crankpin": "4",
    "main": "5",
    "bank": "left",
    "turbo_end": "turbine",
    "none": None,
}
MODES = [mode for part in parts().values() for mode in part.modes.values()]


def refusal_of(**fields) -> str:
    with pytest.raises(RegisterError) as refused:
        dataclasses.replace(WIPED, **fields)
    return str(refused.value)


def measurement_refusal_of(**fields) -> str:
    with pytest.raises(RegisterError) as refused:
        dataclasses.replace(CLEARANCE, **fields)
    return str(refused.value)


@pytest.mark.parametrize("mode", MODES, ids=lambda mode: f"{mode.part}.{mode.name}")
def test_every_part_can_be_found_in_every_mode_of_its_own(mode) -> None:
    position = A_POSITION[parts()[mode.part].position]
    found = Finding(mode.part, position, mode.name, 4, None, "replace")
    assert (found.note, found.photos) == ("", ())


@pytest.mark.parametrize("damage_mode", [None, "wiped"])
def test_a_part_looked_at_and_sound_is_a_finding(damage_mode) -> None:
    assert Finding("rod_bearing", None, damage_mode, 0, None, "reuse").grade == 0


def test_findings_are_values() -> None:
    assert dataclasses.replace(WIPED) == WIPED
    assert len({WIPED, dataclasses.replace(WIPED)}) == 1
    with pytest.raises(dataclasses.FrozenInstanceError):
        WIPED.grade = 0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"part": "rod_bering"}, "no part 'rod_bering' (did you mean 'rod_bearing'?)"),
        ({"position": "0"}, "'position' is '0': the position of a rod_bearing is the number of"),
        ({"position": "02"}, "the number of its cylinder: write 1, 2, 3 from the front"),
        ({"position": "intake"}, "the number of its cylinder"),
        ({"position": 2}, "'position' is 2: write text, in quotes"),
        ({"damage_mode": "wipped"}, "'wipped' of rod_bearing (did you mean 'wiped'?)"),
        ({"damage_mode": None}, "'grade' is 3: a grade above 0 needs a damage_mode: add it"),
        ({"grade": 5}, "'grade' is 5: write one of 0 (sound), 1 (trace), 2 (worn, reusable),"),
        ({"grade": -1}, "'grade' is -1: write one of 0 (sound)"),
        ({"grade": 2.5}, "'grade' is 2.5: write a whole number"),
        ({"grade": True}, "'grade' is True: write a whole number"),
        ({"measurement": "0.07"}, "'measurement' is '0.07': write a table, like {name ="),
        ({"disposition": "bin"}, "is 'bin': write 'reuse', 'rework', 'replace' or 'send_out'"),
        ({"note": "a\0b"}, "take the control character U+0000 out"),
        ({"note": "\ud800"}, "'note' is '\\ud800': take the control character U+D800 out"),
        ({"photos": ("a.jpg", "")}, "'photos' is '': write a word or more"),
        ({"photos": "a.jpg"}, "'photos' is 'a.jpg': write a list"),
        (
            {"part": "crankshaft", "damage_mode": "out_of_true"},
            "an engine has one crankshaft: leave position out",
        ),
        (
            {"part": "turbo_bearing", "damage_mode": "worn", "position": "Intake"},
            "sits at an end of its turbocharger: write one of compressor, turbine",
        ),
    ],
)
def test_a_fault_is_named_with_its_field_and_what_to_do(fields, words) -> None:
    message = refusal_of(**fields)
    assert message.startswith("This finding cannot be taken: ")
    assert words in message
    assert message.endswith(".")
    assert "\n" not in message


def test_all_faults_are_named_at_once() -> None:
    message = refusal_of(position="x", damage_mode="wipped", grade=9, disposition="bin")
    for field in ("position", "damage_mode", "grade", "disposition"):
        assert f"'{field}' is " in message


def test_without_its_part_nothing_else_is_held_against_it() -> None:
    assert refusal_of(part="rodd", position="9", damage_mode="wiped").count(";") == 0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"name": ""}, "'name' is '': write a word or more"),
        ({"unit": ""}, "'unit' is '': write a word or more"),
        ({"unit": " mm"}, "'unit' is ' mm': write a word or more, without blanks around"),
        ({"value": math.nan}, "'value' is nan: write a finite number"),
        ({"high": math.inf}, "'high' is inf: write a finite number"),
        ({"value": "0.07"}, "'value' is '0.07': write a number"),
        ({"low": 0.07}, "'high' is 0.065: low, 0.07, lies above it: exchange them"),
        ({"value": 1 << 20_000}, "'value' is a number of thousands of digits: write a number"),
    ],
)
def test_a_measurement_needs_a_name_a_finite_value_a_unit_and_limits_in_order(
    fields, words
) -> None:
    assert words in measurement_refusal_of(**fields)


@pytest.mark.parametrize(
    ("value", "low", "high", "within"),
    [
        (0.045, 0.045, 0.065, True),
        (0.065, 0.045, 0.065, True),
        (0.066, 0.045, 0.065, False),
        (0.044, 0.045, 0.065, False),
        (0.05, 0.05, 0.05, True),
        (9.0, 0.045, None, True),
        (-9.0, None, 0.065, True),
        (0.07, None, 0.065, False),
        (0.07, None, None, None),
    ],
)
def test_within_tolerance_includes_the_limits_and_is_unknown_without(
    value, low, high, within
) -> None:
    assert Measurement("clearance", value, "mm", low, high).within_tolerance is within
