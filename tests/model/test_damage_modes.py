"""The cause table keeps its own rules."""

from __future__ import annotations

from itertools import chain
from typing import get_args

import pytest

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import (
    RUNNING,
    PositionKind,
    causes,
    grades,
    mode_named,
    part_named,
    parts,
)
from babbitt.model.kinds import KINDS

MODES = [mode for part in parts().values() for mode in part.modes.values()]


@pytest.mark.parametrize("mode", MODES, ids=lambda mode: f"{mode.part}.{mode.name}")
def test_a_mode_blames_known_causes_each_once(mode) -> None:
    assert set(mode.causes) <= set(causes())
    assert len(set(mode.causes)) == len(mode.causes)
    assert RUNNING not in mode.causes
    assert mode.unlogged
    assert mode.look_for


@pytest.mark.parametrize("mode", MODES, ids=lambda mode: f"{mode.part}.{mode.name}")
def test_a_mode_lists_a_kind_whole_or_in_parts(mode) -> None:
    whole = {cause for cause in mode.causes if "." not in cause}
    split = {cause.split(".")[0] for cause in mode.causes if "." in cause}
    assert not whole & split


def test_the_parts_of_a_kind_never_share_an_event_and_leave_none_out() -> None:
    for kind in KINDS:
        split = [c for c in causes().values() if c.kind == kind and "." in c.name]
        if split:
            first, second = split
            assert {first.event_cause, second.event_cause} - {None} == (
                {first.except_cause, second.except_cause} - {None}
            )
            assert {first.during, second.during} - {None} == (
                {first.outside, second.outside} - {None}
            )
            assert any([first.event_cause, second.event_cause, first.during, second.during])


def test_every_kind_of_harm_is_to_blame_for_something() -> None:
    blamed = {causes()[name].kind for name in chain.from_iterable(m.causes for m in MODES)}
    assert blamed == set(KINDS)


def test_running_time_is_counted_in_hours() -> None:
    assert (causes()[RUNNING].kind, causes()[RUNNING].dose_unit) == (None, "h")


def test_grades_run_from_sound_to_failed() -> None:
    assert [grade.value for grade in grades()] == [0, 1, 2, 3, 4]
    assert [grade.damaged for grade in grades()] == [False, False, True, True, True]


def test_every_kind_of_position_is_used() -> None:
    assert {part.position for part in parts().values()} == set(get_args(PositionKind))


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(RegisterError) as refused:
        part_named("rod_bering")
    assert str(refused.value) == "There is no part 'rod_bering' (did you mean 'rod_bearing'?)."
    with pytest.raises(RegisterError, match=r"'wipped' of rod_bearing \(did you mean 'wiped'\?\)"):
        mode_named("rod_bearing", "wipped")
    with pytest.raises(RegisterError, match=r"known: wiped, worn, overheated"):
        mode_named("rod_bearing", "xyz")
