"""What a part had run when it was looked at, and what earlier looks at it showed."""

import pytest

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import part_named
from babbitt.model.part_records import SheetLine, Stretch
from babbitt.register.queries.looks import looks, standing
from babbitt.register.records import builds, fitments, parts, teardowns
from register_records import BUILT, MAY, a_finding, add_engine, days, read, write

REFRESHED = MAY
TORN_DOWN = MAY - days(2)
LATER = MAY + days(30)
SOUND = a_finding(mode=None, grade=0)


def tear_down(register, at, *findings, engine_id="E-1"):
    write(register, teardowns.record_teardown, engine_id, at, findings, earlier_build=True)


def refresh(register, *lines, at=REFRESHED):
    write(register, builds.add_refresh, "E-1", at, lines=lines)


def fit(register, part_id, since, until=None, *, engine_id="E-1", position="2"):
    write(
        register,
        fitments.fit_part,
        part_id,
        engine_id,
        at=since,
        until=until,
        position=position,
    )


@pytest.fixture
def shop(with_engine):
    for part_id in ("RB-1", "RB-2"):
        write(with_engine, parts.add_part, part_id, "rod_bearing")
    return with_engine


def test_an_untracked_part_is_as_old_as_its_build(with_engine):
    refresh(with_engine)
    tear_down(with_engine, TORN_DOWN, a_finding())
    tear_down(with_engine, LATER, a_finding(grade=1))
    first, second = read(with_engine, looks)
    assert (first.part, first.position, first.part_id) == ("rod_bearing", "2", None)
    assert (first.mode, first.grade, first.at) == ("wiped", 3, TORN_DOWN)
    assert first.stretches == (Stretch("E-1", BUILT, TORN_DOWN),)
    assert second.stretches == (Stretch("E-1", REFRESHED, LATER),)
    assert (second.sound_until, second.damaged_before) == ((), False)


def test_a_teardown_at_the_instant_of_the_refresh_is_of_the_build_before(with_engine):
    refresh(with_engine)
    tear_down(with_engine, REFRESHED, a_finding())
    (look,) = read(with_engine, looks)
    assert look.stretches == (Stretch("E-1", BUILT, REFRESHED),)


def test_sound_for_all_is_a_look_for_every_mode(with_engine):
    tear_down(with_engine, TORN_DOWN, SOUND)
    found = read(with_engine, looks)
    assert [look.mode for look in found] == list(part_named("rod_bearing").modes)
    assert {look.grade for look in found} == {0}


@pytest.mark.parametrize(
    ("lines", "before", "carried_over"),
    [
        ([SheetLine("rod_bearing", "2", "reused")], None, True),
        ([SheetLine("rod_bearing", None, "reused")], None, True),
        ([SheetLine("rod_bearing", "1", "reused")], None, False),
        ([SheetLine("rod_bearing", "2", "reworked")], None, False),
        ([], "reuse", True),
        ([], "replace", False),
        ([], None, False),
        ([SheetLine("rod_bearing", "2", "replaced")], "reuse", False),
    ],
)
def test_an_untracked_part_is_older_where_it_was_used_again(
    with_engine, lines, before, carried_over
):
    if before is not None:
        tear_down(with_engine, TORN_DOWN, a_finding(mode=None, grade=0, disposition=before))
    refresh(with_engine, *lines)
    tear_down(with_engine, LATER, a_finding())
    look = read(with_engine, looks)[-1]
    since = BUILT if carried_over else REFRESHED
    assert look.stretches == (Stretch("E-1", since, LATER),)
    sound = carried_over and before is not None
    assert look.sound_until == ((Stretch("E-1", BUILT, TORN_DOWN),) if sound else ())


def test_a_tracked_part_has_what_it_ran_in_every_engine(shop):
    add_engine(shop, "E-2")
    fit(shop, "RB-1", BUILT, MAY - days(20))
    fit(shop, "RB-1", MAY - days(10), engine_id="E-2", position="4")
    tear_down(shop, MAY - days(20), a_finding(mode="wiped", grade=0))
    tear_down(shop, MAY, a_finding(position="4"), engine_id="E-2")
    first, second = read(shop, looks)
    before = Stretch("E-1", BUILT, MAY - days(20))
    assert (first.part_id, first.stretches) == ("RB-1", (before,))
    assert second.stretches == (before, Stretch("E-2", MAY - days(10), MAY))
    assert (second.sound_until, second.damaged_before) == ((before,), False)
    assert read(shop, looks, engine_id="E-2") == (second,)


def test_a_tracked_part_that_was_replaced_leaves_nothing_to_the_next(shop):
    fit(shop, "RB-1", BUILT, REFRESHED)
    tear_down(shop, TORN_DOWN, SOUND)
    refresh(shop, SheetLine("rod_bearing", "2", "replaced", "RB-2"))
    tear_down(shop, LATER, a_finding())
    look = read(shop, looks)[-1]
    assert (look.part_id, look.sound_until) == ("RB-2", ())
    assert look.stretches == (Stretch("E-1", REFRESHED, LATER),)


@pytest.mark.parametrize("part_id", ["RB-1", None], ids=["by its id", "by its place"])
def test_reworking_makes_a_tracked_part_new(shop, part_id):
    fit(shop, "RB-1", BUILT)
    tear_down(shop, TORN_DOWN, SOUND)
    refresh(shop, SheetLine("rod_bearing", "2", "reworked", part_id))
    tear_down(shop, LATER, a_finding())
    look = read(shop, looks)[-1]
    assert look.stretches == (Stretch("E-1", REFRESHED, LATER),)
    assert (look.sound_until, look.damaged_before) == ((), False)


def test_damage_is_remembered_though_a_later_look_is_kinder(shop):
    fit(shop, "RB-1", BUILT)
    for n, grade in enumerate([0, 2, 1]):
        tear_down(shop, TORN_DOWN + days(n), a_finding(grade=grade))
    sound, damaged, kinder = read(shop, looks)
    assert (sound.sound_until, sound.damaged_before) == ((), False)
    assert (damaged.sound_until, damaged.damaged_before) == (sound.stretches, False)
    assert (kinder.sound_until, kinder.damaged_before) == ((), True)


def test_a_mode_that_was_not_looked_for_is_not_sound(shop):
    fit(shop, "RB-1", BUILT)
    tear_down(shop, TORN_DOWN, a_finding(mode="wiped", grade=0))
    tear_down(shop, LATER, a_finding(mode="worn", grade=2))
    assert read(shop, looks)[-1].sound_until == ()


def test_pieces_of_a_set_are_told_apart_by_where_they_sit(shop):
    fit(shop, "RB-1", BUILT, position=None)
    tear_down(shop, TORN_DOWN, a_finding(position="1", grade=0))
    tear_down(shop, LATER, a_finding(position="1"), a_finding(position="2"))
    _, first, second = read(shop, looks)
    assert (first.position, second.position) == ("1", "2")
    assert first.stretches == second.stretches
    assert first.sound_until == (Stretch("E-1", BUILT, TORN_DOWN),)
    assert second.sound_until == ()


def test_a_look_at_every_one_is_a_look_at_each(shop):
    fit(shop, "RB-1", BUILT, position="1")
    fit(shop, "RB-2", BUILT, position="2")
    tear_down(shop, TORN_DOWN, a_finding(position=None, grade=0))
    tear_down(shop, LATER, a_finding())
    every = read(shop, looks)
    assert [(look.part_id, look.position) for look in every] == [
        ("RB-1", "1"),
        ("RB-2", "2"),
        ("RB-2", "2"),
    ]
    assert every[-1].sound_until == (Stretch("E-1", BUILT, TORN_DOWN),)


def test_an_untracked_look_at_every_one_counts_for_each_place(with_engine):
    refresh(with_engine, SheetLine("rod_bearing", None, "reused"))
    tear_down(with_engine, TORN_DOWN, a_finding(position=None, mode=None, grade=0))
    tear_down(with_engine, LATER, a_finding(position="3"))
    assert read(with_engine, looks)[-1].sound_until == (Stretch("E-1", BUILT, TORN_DOWN),)


def test_standing_tells_what_sits_in_an_engine_and_what_it_showed(shop):
    fit(shop, "RB-1", BUILT)
    tear_down(shop, TORN_DOWN, a_finding(grade=2), a_finding(mode="worn", grade=0))
    places = [("rod_bearing", "2"), ("rod_bearing", "1"), ("head_gasket", None)]
    tracked, untracked, gasket = read(shop, standing, "E-1", places, at=LATER)
    assert (tracked.part_id, tracked.position) == ("RB-1", "2")
    assert tracked.stretches == (Stretch("E-1", BUILT, LATER),)
    assert tracked.grades == {"wiped": 2, "worn": 0}
    assert tracked.looked_until == dict.fromkeys(
        ("wiped", "worn"), (Stretch("E-1", BUILT, TORN_DOWN),)
    )
    assert (untracked.part_id, untracked.position, untracked.grades) == (None, "1", {})
    assert (gasket.part, gasket.position) == ("head_gasket", None)
    with pytest.raises(RegisterError, match="did you mean 'head_gasket'"):
        read(shop, standing, "E-1", [("headgasket", None)], at=LATER)


def test_the_queries_do_not_grow_with_the_findings(with_engine, count_queries):
    def queries():
        with count_queries() as sent:
            read(with_engine, looks)
        return len(sent)

    tear_down(with_engine, TORN_DOWN, a_finding())
    few = queries()
    for n in range(1, 4):
        tear_down(with_engine, TORN_DOWN - days(n), SOUND, a_finding(position="3"))
    assert queries() == few
