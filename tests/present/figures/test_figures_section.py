"""The drawn engine: every part of every cylinder has its place, and can be pointed at."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import LAYOUTS, EngineLayout
from babbitt.model.positions import spots_of
from babbitt.present.figures.ink import DARK, LIGHT
from babbitt.present.figures.section import draw_section

SVG = "{http://www.w3.org/2000/svg}"
MOST = 12


def texts(section):
    return [each.text for each in ET.fromstring(section.svg).iter(f"{SVG}text")]


FOUR = EngineLayout("inline", 4)
layouts = st.builds(EngineLayout, st.just("inline"), st.integers(1, MOST)) | st.builds(
    EngineLayout, st.sampled_from(LAYOUTS), st.integers(1, MOST // 2).map(lambda pairs: 2 * pairs)
)


@given(layouts)
def test_every_kind_of_part_is_drawn_at_each_of_its_positions(layout):
    spots = [(place.part, place.position) for place in draw_section(layout, LIGHT).places]
    assert sorted(spots) == sorted((name, at) for name in parts() for at in spots_of(name, layout))


@given(layouts)
def test_places_are_large_enough_to_point_at_apart_and_inside_the_drawing(layout):
    section = draw_section(layout, LIGHT)
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
    root = ET.fromstring(draw_section(FOUR, ink).svg)
    assert root.tag == f"{SVG}svg"
    assert not [each for each in root.iter() if any("href" in name for name in each.attrib)]


def test_grades_stand_as_numbers_and_damage_takes_the_accent():
    bare = texts(draw_section(FOUR, LIGHT))
    marked = draw_section(FOUR, LIGHT, found={("rod_bearing", "2"): 3, ("rod", "1"): 1})
    assert sorted(texts(marked)) == sorted([*bare, "3", "1"])
    discs = [
        each.get("fill")
        for each in ET.fromstring(marked.svg).iter(f"{SVG}circle")
        if each.get("r") == "8.5"
    ]
    assert sorted(discs) == sorted([LIGHT.harm, LIGHT.paper])


def test_the_chosen_part_is_outlined_and_likely_ones_are_tinted():
    place = next(each for each in draw_section(FOUR, DARK).places if each.part == "head_gasket")
    drawn = draw_section(
        FOUR, DARK, likely=frozenset({("head_gasket", "")}), chosen=("head_gasket", "")
    )
    boxes = [
        each
        for each in ET.fromstring(drawn.svg).iter(f"{SVG}rect")
        if (each.get("x"), each.get("y")) == (str(place.x), str(place.y))
    ]
    assert [each.get("stroke-width") for each in boxes] == [None, "2.4"]
