"""Findings while they are entered: nothing is guessed that a person did not see on the page."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.finding import Finding, Measurement
from babbitt.model.part_records import FindingRecord, TeardownRecord
from babbitt.present.views.teardown_draft import (
    EVERY,
    Draft,
    DraftPhoto,
    Entry,
    check,
    draft_from,
    draft_of,
    entry_words,
    finding_of,
    positions_to_enter,
    taken_apart_at,
)
from strip_book import found

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
FOUR = EngineLayout("inline", 4)
PHOTO = DraftPhoto(name="a" * 64 + ".jpg", thumbnail="data:", taken_as="shell.jpg")


def begun(part="rod_bearing", position="2", **fields) -> Draft:
    return Draft().begun(part, position, **fields)[0]


def test_a_whole_entry_makes_the_finding_it_says() -> None:
    draft = begun(
        mode="wiped",
        grade=3,
        disposition="replace",
        measured="clearance",
        value=" 0,071",
        high="0.065",
        note="worst mid-span",
        photos=(PHOTO,),
    )
    measured = Measurement("clearance", 0.071, "mm", None, 0.065)
    expected = Finding(
        "rod_bearing", "2", "wiped", 3, measured, "replace", "worst mid-span", (PHOTO.name,)
    )
    assert check(draft).findings == (expected,)
    assert check(draft).faults == {}


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Rod bearing 2: give it a grade."),
        ({"grade": 3, "disposition": "replace"}, "Rod bearing 2: choose the damage."),
        ({"grade": 0, "disposition": ""}, "'disposition' is ''"),
        ({"grade": 7, "mode": "wiped", "disposition": "reuse"}, "'grade' is 7"),
        ({"grade": 0, "disposition": "reuse", "value": "1"}, "say what was measured"),
        ({"grade": 0, "disposition": "reuse", "measured": "clearance"}, "write the clearance"),
        (
            {"grade": 0, "disposition": "reuse", "measured": "clearance", "value": "0.0.1"},
            "'0.0.1' is no number",
        ),
        (
            {
                "grade": 0,
                "disposition": "reuse",
                "photos": (PHOTO.model_copy(update={"name": "../../etc/passwd"}),),
            },
            "a photo has a name that no photo has",
        ),
    ],
)
def test_what_is_missing_is_said_in_one_sentence(fields, said) -> None:
    checked = check(begun(**fields))
    assert checked.findings == ()
    (sentence,) = checked.faults.values()
    assert said in sentence
    assert sentence.startswith("Rod bearing 2: ")


def test_a_set_has_no_position_of_its_own() -> None:
    entry = begun(position=EVERY, grade=0, disposition="reuse").entries[0]
    assert entry.where == "every rod bearing"
    assert finding_of(entry).position is None
    assert finding_of(begun("head_gasket", "", grade=0, disposition="reuse").entries[0]) == found(
        "head_gasket", None
    )


def test_the_only_damage_of_a_part_need_not_be_chosen_and_several_must() -> None:
    one, n = Draft().begun("rod_bolt", "1")
    assert one.graded(n, 2).entry(n).mode == "stretched"
    several, n = Draft().begun("rod_bearing", "1")
    assert several.graded(n, 2).entry(n).mode == ""


@given(st.lists(st.integers(0, 4), min_size=1, max_size=4))
def test_what_becomes_of_a_part_follows_its_grade_unless_somebody_chose(grades) -> None:
    draft, n = Draft().begun("rod_bolt", "1")
    chosen = draft.changed(n, disposition="send_out")
    for grade in grades:
        draft, chosen = draft.graded(n, grade), chosen.graded(n, grade)
    assert draft.entry(n).disposition == ("replace" if grades[-1] >= 3 else "reuse")
    assert chosen.entry(n).disposition == "send_out"


def test_a_part_that_turns_out_sound_has_no_damage() -> None:
    draft, n = Draft().begun("rod_bearing", "1", mode="worn", grade=3, disposition="replace")
    assert draft.graded(n, 0).entry(n).mode == ""


def test_the_others_are_sound_and_what_was_entered_stays() -> None:
    draft = begun(grade=3, mode="wiped", disposition="replace")
    after = draft.others_sound("rod_bearing", ("1", "2", "3", "4"))
    assert [(each.position, each.grade) for each in after.entries] == [
        *(("2", 3), ("1", 0), ("3", 0), ("4", 0))
    ]
    assert check(after).faults == {}


def test_entries_keep_their_numbers_when_one_goes() -> None:
    draft, first = Draft().begun("rod", "1")
    draft, second = draft.begun("rod", "2")
    left = draft.without(first)
    assert left.entry(second).position == "2"
    assert left.begun("rod", "3")[1] not in (first, second)
    with pytest.raises(RegisterError, match="taken out"):
        left.entry(first)


def test_a_draft_survives_the_browser() -> None:
    draft = begun(grade=1, mode="worn", photos=(PHOTO,))
    assert draft_from(draft.model_dump(mode="json")) == draft
    assert draft_from(None) == Draft()


@pytest.mark.parametrize(
    "kept",
    [
        {"entries": 3},
        {"entries": [{"n": 1, "part": "rod"}]},
        {"shape": "old"},
        [1],
    ],
)
def test_a_draft_of_another_shape_is_refused(kept) -> None:
    with pytest.raises(RegisterError, match="start it over"):
        draft_from(kept)


def test_a_draft_that_names_no_known_part_is_refused() -> None:
    with pytest.raises(RegisterError, match="no part"):
        draft_from({"entries": [{"n": 1, "part": "flux", "position": "1"}]})


@pytest.mark.parametrize(
    "finding",
    [
        found("rod_bearing", "2", "wiped", 3, measurement=Measurement("clearance", 0.071, "mm")),
        found("rod_bearing", None),
        found("head_gasket", None, "leaking", 1, note="a track"),
        found("rod_bearing", "1", photos=(PHOTO.name,)),
        found("piston_skirt", "1", measurement=Measurement("ovality", 0.02, "µm", 0.0)),
    ],
)
def test_a_recorded_finding_comes_back_from_its_correction_as_it_was(finding) -> None:
    teardown = TeardownRecord(1, "E1", NOW, 1, "", 1)
    entry = draft_of(FindingRecord(7, teardown, finding, (), 1), FOUR).entries[0]
    assert finding_of(entry, recorded=finding) == finding


def test_a_day_and_hour_are_read_in_the_readers_zone() -> None:
    draft = Draft(day="2026-06-16", hour="14:30")
    at = taken_apart_at(draft, ZoneInfo("Europe/Paris"), now=NOW)
    assert at == datetime(2026, 6, 16, 12, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "hour", "said"),
    [
        ("16 June", "14:30", "Say when"),
        ("2026-06-16", "", "Say when"),
        ("2026-09-16", "10:00", "lies ahead"),
    ],
)
def test_a_day_that_cannot_be_is_refused(day, hour, said) -> None:
    with pytest.raises(RegisterError, match=said):
        taken_apart_at(Draft(day=day, hour=hour), UTC, now=NOW)


def test_entries_read_as_a_mechanic_says_them() -> None:
    entry = Entry(n=1, part="rod_bearing", position="2", mode="wiped", grade=3)
    assert entry_words(entry) == "wiped, 3 replace"
    assert entry_words(entry.model_copy(update={"mode": "", "grade": None})) == "no grade yet"


def test_all_of_a_kind_can_be_entered_at_once_where_there_are_several() -> None:
    for name, part in parts().items():
        offered = positions_to_enter(name, FOUR)
        assert (EVERY in offered) == (part.position not in ("none", "bank"))
        assert EVERY in positions_to_enter("cylinder_head", EngineLayout("v", 8))
