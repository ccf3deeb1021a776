"""The teardown sheet: what to look at first, on two pages."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from babbitt.damage.looks import LastLook
from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.present.reports.sheet_print import sheet_html, sheet_text
from babbitt.present.words import CAUTION
from babbitt.teardown.sheet import IN_FULL, Sheet, make_sheet
from made_lives import MAY, NO_RATES, READER, an_event, day, known, like_parts, taken

DRY = known(oil_starvation=(100.0, 2.0))
HEAVY = taken(oil_starvation=80.0, running=3.0)
EVERY_PART = [like_parts(name, now=HEAVY, events=[an_event()]) for name in parts()]
POSTERIORS = {mode: DRY for part in parts().values() for mode in part.modes.values()}
A_PAGE = 66


def sheet(*fitted, posteriors=POSTERIORS, found_before=None) -> Sheet:
    return make_sheet(
        "E1",
        fitted,
        posteriors,
        NO_RATES,
        layout=EngineLayout("inline", 4),
        found_before=found_before or {},
        at=day(30),
        since=MAY,
        teardowns=3,
    )


def test_the_likeliest_damage_comes_first() -> None:
    light = like_parts("rod", now=taken(oil_starvation=5.0))
    heavy = like_parts("main_bearing", now=HEAVY)
    made = sheet(light, heavy)
    assert [item.part.name for item in made.items] == ["main_bearing", "rod"]
    chances = [item.chance.p for item in made.items if item.chance]
    assert chances == sorted(chances, reverse=True)


def test_what_was_found_sound_comes_later() -> None:
    looked_at = {mode: LastLook(day(5), HEAVY) for mode in parts()["main_bearing"].modes}
    made = sheet(
        like_parts("main_bearing", now=HEAVY, looked=looked_at),
        like_parts("rod_bearing", now=HEAVY),
    )
    assert [item.part.name for item in made.items] == ["rod_bearing", "main_bearing"]


def test_positions_where_damage_was_found_before_come_first() -> None:
    (item,) = sheet(
        like_parts(now=HEAVY), found_before={("rod_bearing", "3"): 2, ("main_bearing", "1"): 5}
    ).items
    assert item.positions == ("3", "1", "2", "4")
    assert item.found_before == {"3": 2}


@pytest.mark.parametrize(
    ("part", "positions"),
    [
        ("rod_bearing", ("1", "2", "3", "4")),
        ("main_bearing", ("1", "2", "3", "4", "5")),
        ("head_gasket", ("",)),
    ],
)
def test_every_position_that_there_may_be_is_asked_for(part, positions) -> None:
    (item,) = sheet(like_parts(part, now=HEAVY)).items
    assert item.positions == positions


def test_a_part_without_a_life_dose_is_listed_all_the_same() -> None:
    made = sheet(like_parts(now=HEAVY), posteriors={})
    assert made.items[0].chance is None
    assert "no life dose in the spec" in sheet_text(made, READER, {})


def test_it_names_what_to_look_for_to_measure_and_to_blame() -> None:
    text = sheet_text(sheet(like_parts(now=HEAVY, events=[an_event()])), READER, {"e1": 7450.0})
    flat = " ".join(text.split())
    assert "overlay smeared along the direction of turning" in flat
    assert "clearance (mm): 1 ______ 2 ______ 3 ______ 4 ______" in flat
    assert "starved of oil in long left-handers, 1 event, worst 120 kPa at 7,450 rpm" in flat
    assert "1 [ ] 2 [ ] 3 [ ] 4 [ ]" in flat
    assert CAUTION in flat


def test_damage_that_is_still_in_is_remembered() -> None:
    made = sheet(like_parts(now=HEAVY, looked={"worn": LastLook(day(5), HEAVY, 2)}))
    assert "Found worn, grade 2, and still in." in sheet_text(made, READER, {})


def test_all_parts_of_an_engine_fit_on_two_pages_of_eighty_columns() -> None:
    lines = sheet_text(sheet(*EVERY_PART), READER, {}).splitlines()
    assert len(lines) <= 2 * A_PAGE
    assert max(map(len, lines)) <= 80


def test_the_page_is_whole_and_needs_nothing_else() -> None:
    page = sheet_html(sheet(*EVERY_PART), READER, {})
    HTMLParser().feed(page)
    assert not re.search(r"(src|href)=|https?:|@import|url\(", page)
    assert page.count('class="box"') >= 4 * IN_FULL
    for part in parts().values():
        assert part.title in page
    assert CAUTION.replace("'", "&#39;") in page


def test_what_people_name_things_cannot_break_the_page() -> None:
    made = sheet(like_parts(now=HEAVY))
    page = sheet_html(Sheet("<b>E1", made.at, None, 0, made.items), READER, {})
    assert "<b>E1" not in page
    assert "&lt;b&gt;E1" in page
