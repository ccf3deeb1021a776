"""The drawn engine: every part of every cylinder has its place, and can be pointed at."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.model.damage_modes import parts
from babbitt.model.finding import require_position
from babbitt.present.figures.ink import DARK, LIGHT
from babbitt.present.figures.section import draw_section

SVG = "{http://www.w3.org/2000/svg}"
MOST = 12


def texts(section):
    return [each.text for each in ET.fromstring(section.svg).iter(f"{SVG}text")]


@given(st.integers(1, MOST))
def test_every_kind_of_part_is_drawn_at_each_of_its_positions(cylinders):
    spots = [(place.part, place.position) for place in draw_section(cylinders, LIGHT).places]
    assert len(spots) == len(set(spots))
    for name, part in parts().items():
        positions = {position for kind, position in spots if kind == name}
        expected = {
            "cylinder": {str(n) for n in range(1, cylinders + 1)},
            "journal": {str(n) for n in range(1, cylinders + 2)},
            "side": {"intake", "exhaust"},
            "none": {""},
        }[part.position]
        assert positions == expected, name
        for position in positions:
            require_position(name, position or None, cylinders=cylinders)


@given(st.integers(1, MOST))
def test_places_are_large_enough_to_point_at_apart_and_inside_the_drawing(cylinders):
    section = draw_section(cylinders, LIGHT)
    for place in section.places:
        assert min(place.width, place.height) >= 24
        assert 0 <= place.x <= section.width - place.width
        assert 0 <= place.y <= section.height - place.height
    for one, other in itertools.combinations(section.places, 2):
        beside = one.x + one.width <= other.x or other.x + other.width <= one.x
        above = one.y + one.height <= other.y or other.y + other.height <= one.y
        assert beside or above, (one, other)


@pytest.mark.parametrize("ink", [LIGHT, DARK])
def test_the_drawing_is_well_formed_and_refers_to_nothing_outside(ink):
    root = ET.fromstring(draw_section(4, ink).svg)
    assert root.tag == f"{SVG}svg"
    assert not [each for each in root.iter() if any("href" in name for name in each.attrib)]


def test_grades_stand_as_numbers_and_damage_takes_the_accent():
    bare = texts(draw_section(4, LIGHT))
    marked = draw_section(4, LIGHT, found={("rod_bearing", "2"): 3, ("rod", "1"): 1})
    assert sorted(texts(marked)) == sorted([*bare, "3", "1"])
    discs = [
        each.get("fill")
        for each in ET.fromstring(marked.svg).iter(f"{SVG}circle")
        if each.get("r") == "8.5"
    ]
    assert sorted(discs) == sorted([LIGHT.harm, LIGHT.paper])


def test_the_chosen_part_is_outlined_and_likely_ones_are_tinted():
    place = next(each for each in draw_section(2, DARK).places if each.part == "head_gasket")
    drawn = draw_section(
        2, DARK, likely=frozenset({("head_gasket", "")}), chosen=("head_gasket", "")
    )
    boxes = [
        each
        for each in ET.fromstring(drawn.svg).iter(f"{SVG}rect")
        if (each.get("x"), each.get("y")) == (str(place.x), str(place.y))
    ]
    assert [each.get("stroke-width") for each in boxes] == [None, "2.4"]
