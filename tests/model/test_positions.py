"""Positions of parts in engines of every layout."""

from __future__ import annotations

import pytest

from babbitt.errors import RegisterError, SettingsError
from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import LAYOUTS, EngineLayout
from babbitt.model.engine_spec import parse_spec
from babbitt.model.positions import positions_of, require_position, spots_of
from invented import SPEC as SPEC_TOML

FOUR = EngineLayout("inline", 4)
V8 = EngineLayout("v", 8)


@pytest.mark.parametrize(
    ("name", "cylinders", "crankpins", "mains", "banks"),
    [
        ("inline", 4, 4, 5, 0),
        ("inline", 6, 6, 7, 0),
        ("v", 8, 4, 5, 2),
        ("v", 6, 3, 4, 2),
        ("flat", 6, 6, 7, 2),
        ("w", 12, 6, 7, 2),
    ],
)
def test_crank_and_banks(name, cylinders, crankpins, mains, banks) -> None:
    """Counts of the engines that are built so (common practice, no source)."""
    layout = EngineLayout(name, cylinders)
    assert (layout.crankpins, layout.main_journals, len(layout.banks)) == (crankpins, mains, banks)


@pytest.mark.parametrize("layout", [FOUR, V8, EngineLayout("flat", 6)])
@pytest.mark.parametrize("part", parts())
def test_every_position_listed_is_accepted(part, layout) -> None:
    for position in positions_of(part, layout):
        require_position(part, position, layout)
    require_position(part, None, layout)
    assert spots_of(part, layout) == (positions_of(part, layout) or ("",))


@pytest.mark.parametrize(
    ("part", "layout", "positions"),
    [
        ("rod_bearing", V8, 8),
        ("crankpin", V8, 4),
        ("main_journal", V8, 5),
        ("main_bearing", FOUR, 5),
        ("cylinder_head", V8, 2),
        ("cylinder_head", FOUR, 0),
        ("crankshaft", V8, 0),
    ],
)
def test_how_many_there_are(part, layout, positions) -> None:
    assert len(positions_of(part, layout)) == positions


@pytest.mark.parametrize(
    ("part", "position", "layout", "words"),
    [
        ("rod_bearing", "5", FOUR, "An engine of 4 cylinders has no cylinder 5: write 1"),
        ("main_bearing", "6", FOUR, "An engine of 4 cylinders has no main journal 6"),
        ("crankpin", "5", V8, "A V engine of 8 cylinders has no crankpin 5: write 1 to 4."),
        ("rod_bearing", "", FOUR, "The position of a rod_bearing is the number of its cylinder"),
        ("rod_bearing", "\u00b2", None, "The position of a rod_bearing is the number of its cyl"),
        ("cylinder_head", "left", FOUR, "An engine has one cylinder_head where"),
        ("cylinder_head", "3", V8, "A cylinder_head sits on a bank: write left or right."),
        ("turbo_bearing", "hot", FOUR, "A turbo_bearing sits at an end of its turbocharger"),
        ("crankshaft", "1", FOUR, "An engine has one crankshaft: leave position out."),
        ("gearbox", "1", FOUR, "There is no part 'gearbox'"),
    ],
)
def test_a_position_that_an_engine_has_not(part, position, layout, words) -> None:
    with pytest.raises(RegisterError) as refused:
        require_position(part, position, layout)
    assert str(refused.value).startswith(words)


@pytest.mark.parametrize("end", ["turbine", "compressor", "left turbine", "rear compressor"])
def test_ends_of_one_turbocharger_and_of_two(end) -> None:
    require_position("turbo_bearing", end, V8)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ('layout = "v"\ncylinders = 5', "an engine of layout v has an even number of cylinders"),
        ("cylinders = 1_000_000_000", "less than or equal to 24"),
        ('layout = "radial"\ncylinders = 4', "engine.layout"),
    ],
)
def test_a_spec_of_an_engine_that_cannot_be_is_refused(written, words) -> None:
    with pytest.raises(SettingsError, match=words):
        parse_spec(SPEC_TOML.replace("cylinders = 4", written), source="e.toml")


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_layout_of_an_engine_does_not_change_how_its_runs_are_judged(layout) -> None:
    spec = parse_spec(SPEC_TOML, source="e.toml")
    other = SPEC_TOML.replace("cylinders = 4", f'layout = "{layout}"\ncylinders = 4')
    assert parse_spec(other, source="e.toml").version() == spec.version()
