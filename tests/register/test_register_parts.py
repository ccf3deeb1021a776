"""Parts, and the calendar of where each of them is."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from babbitt.errors import RegisterError
from babbitt.model.part_records import PartRecord
from babbitt.register.queries.places import where_now
from babbitt.register.records import engines, fitments, history, parts, work
from register_records import BUILT, MAY, SPEC, add_engine, days, read, write


@pytest.fixture
def shop(with_engine):
    """Two engines, two crankshafts and some rod bearings on the shelf."""
    add_engine(with_engine, "E-2")
    for part_id in ("CR-1", "CR-2"):
        write(with_engine, parts.add_part, part_id, "crankshaft")
    for part_id in ("RB-1", "RB-2"):
        write(with_engine, parts.add_part, part_id, "rod_bearing", note="batch 7")
    return with_engine


def fit(register, part_id, engine_id="E-1", at=MAY, **about):
    return write(register, fitments.fit_part, part_id, engine_id, at=at, **about)


def spans(register, part_id):
    found = read(register, fitments.list_fitments, part_id=part_id)
    return [(each.engine_id, each.position, each.since, each.until) for each in found]


def test_a_part_is_found_under_its_id(shop):
    assert read(shop, parts.find_part, "RB-1") == PartRecord("RB-1", "rod_bearing", "batch 7", 1)
    ids = [each.part_id for each in read(shop, parts.list_parts)]
    assert ids == ["CR-1", "CR-2", "RB-1", "RB-2"]
    assert len(read(shop, parts.list_parts, kind="crankshaft")) == 2


@pytest.mark.parametrize(
    ("part_id", "kind", "message"),
    [
        ("CR-1", "crankshaft", "There is a crankshaft CR-1 already"),
        ("cr-1", "rod", "There is a crankshaft CR-1 already"),
        ("X", "crankshat", "no part 'crankshat' .did you mean 'crankshaft'"),
        ("", "rod", "'' cannot be a part's serial or batch"),
        (" X", "rod", "without blanks around them"),
        ("X\nY", "rod", "of one line"),
        ("x" * 65, "rod", "write 1 to 64 characters"),
    ],
)
def test_a_part_that_cannot_be_is_refused(shop, part_id, kind, message):
    with pytest.raises(RegisterError, match=message):
        write(shop, parts.add_part, part_id, kind)
    assert len(read(shop, parts.list_parts)) == 4


def test_an_unknown_part_is_refused_with_the_nearest_name(shop):
    with pytest.raises(RegisterError, match="There is no part 'CR1': did you mean CR-1"):
        fit(shop, "CR1")
    with pytest.raises(RegisterError, match="add it first"):
        fit(shop, "XYZ")
    with pytest.raises(RegisterError, match="did you mean 'rod_bearing'"):
        read(shop, parts.list_parts, kind="rod_bearings")


def test_a_part_is_carried_from_one_engine_to_another(shop):
    fit(shop, "CR-1", "E-1", MAY)
    write(shop, fitments.remove_part, "CR-1", at=MAY + days(5))
    fit(shop, "CR-1", "E-2", MAY + days(5))
    assert spans(shop, "CR-1") == [
        ("E-1", None, MAY, MAY + days(5)),
        ("E-2", None, MAY + days(5), None),
    ]
    assert [each.part_id for each in read(shop, fitments.list_fitments, engine_id="E-2")] == [
        "CR-1"
    ]


def test_a_part_that_takes_anothers_place_puts_it_out(shop):
    fit(shop, "CR-1")
    with pytest.raises(RegisterError, match=r"The crankshaft of E-1 is CR-1 .* take its place"):
        fit(shop, "CR-2", at=MAY + days(3))
    fit(shop, "CR-2", at=MAY + days(3), replacing=True)
    assert spans(shop, "CR-1") == [("E-1", None, MAY, MAY + days(3))]
    assert spans(shop, "CR-2") == [("E-1", None, MAY + days(3), None)]


def test_bearings_of_other_cylinders_stay_where_one_is_replaced(shop):
    fit(shop, "RB-1", position="1")
    fit(shop, "RB-2", position="2", replacing=True)
    assert spans(shop, "RB-1") == [("E-1", "1", MAY, None)]


def test_a_set_takes_every_position(shop):
    fit(shop, "RB-1")
    with pytest.raises(RegisterError, match="The rod_bearing of E-1 is RB-1 from"):
        fit(shop, "RB-2", position="3", at=MAY + days(1))
    fit(shop, "RB-2", position="3", at=MAY + days(1), replacing=True)
    with pytest.raises(RegisterError, match="The rod_bearing 3 of E-1 is RB-2"):
        fit(shop, "RB-1", at=MAY + days(2))


@pytest.mark.parametrize(
    ("part_id", "about", "message"),
    [
        ("CR-1", {"engine_id": "E-9"}, "no engine 'E-9'"),
        ("CR-1", {"position": "1"}, "An engine has one crankshaft: leave position out"),
        ("RB-2", {"position": "5"}, "An engine of 4 cylinders has no cylinder 5"),
        ("RB-2", {"position": "front"}, "number of its cylinder: write 1, 2, 3"),
        ("CR-1", {"at": BUILT - days(1)}, "The fitting of CR-1 is dated .* before the engine E-1"),
        ("CR-1", {"until": MAY}, "CR-1 cannot be removed at 2026-05-02 .* fitted at 2026-05-02"),
        (
            "RB-1",
            {"position": "2"},
            "RB-1 cannot be in E-1 from .* it is in E-2 from .* remove it there first",
        ),
        ("CR-2", {}, "The part CR-2 cannot be in E-1 .* out for work at the grinder from"),
    ],
)
def test_a_fitment_that_cannot_be_is_refused(shop, part_id, about, message):
    fit(shop, "RB-1", "E-2", position="1")
    write(shop, work.send_out, "CR-2", shop="the grinder", what="polish", since=MAY - days(1))
    before = read(shop, fitments.list_fitments)
    with pytest.raises(RegisterError, match=message):
        fit(shop, part_id, **about)
    assert read(shop, fitments.list_fitments) == before


def test_a_removal_before_the_fitting_is_refused(shop):
    fit(shop, "CR-1")
    with pytest.raises(RegisterError, match=r"CR-1 cannot be removed at 2026-05-01 .* fitted at"):
        write(shop, fitments.remove_part, "CR-1", at=MAY - days(1))


def test_what_is_in_no_engine_cannot_be_removed(shop):
    with pytest.raises(RegisterError, match="CR-1 is in no engine: fit it first"):
        write(shop, fitments.remove_part, "CR-1", at=MAY)
    fit(shop, "CR-1", until=MAY + days(1))
    with pytest.raises(RegisterError, match="CR-1 is in no engine"):
        write(shop, fitments.remove_part, "CR-1", at=MAY + days(2))


def test_a_fitment_can_be_corrected_and_withdrawn(shop):
    fitted = fit(shop, "RB-1", position="1")
    changed = write(
        shop,
        fitments.amend_fitment,
        fitted.fitment_id,
        seen=fitted.version,
        position="2",
        since=MAY - days(1),
    )
    assert (changed.position, changed.since, changed.until) == ("2", MAY - days(1), None)
    with pytest.raises(RegisterError, match="no cylinder 9"):
        write(shop, fitments.amend_fitment, fitted.fitment_id, position="9")
    write(shop, fitments.withdraw_fitment, fitted.fitment_id)
    assert spans(shop, "RB-1") == []


def test_a_part_of_another_kind_must_fit_where_it_was(shop):
    fit(shop, "RB-1", position="2")
    with pytest.raises(RegisterError, match="An engine has one head_gasket"):
        write(shop, parts.amend_part, "RB-1", kind="head_gasket")
    assert write(shop, parts.amend_part, "RB-1", kind="rod_bolt").kind == "rod_bolt"


def test_a_part_with_a_past_is_not_withdrawn(shop):
    fitted = fit(shop, "CR-1")
    with pytest.raises(RegisterError, match="The part CR-1 has a fitment: withdraw that first"):
        write(shop, parts.withdraw_part, "CR-1")
    write(shop, fitments.withdraw_fitment, fitted.fitment_id)
    write(shop, parts.withdraw_part, "CR-1")
    with pytest.raises(RegisterError, match="There is no part 'CR-1'"):
        read(shop, parts.find_part, "CR-1")
    again = write(shop, parts.add_part, "CR-1", "rod", note="a rod after all")
    assert (again.kind, again.note) == ("rod", "a rod after all")


def test_a_part_goes_out_for_work_and_comes_back(shop):
    due = MAY + days(7)
    out = write(shop, work.send_out, "CR-1", shop="grinder", what="polish", since=MAY, due=due)
    assert (out.shop, out.what, out.since, out.due, out.back_at) == (
        "grinder",
        "polish",
        MAY,
        due,
        None,
    )
    back = write(shop, work.take_back, "CR-1", at=MAY + days(9), result="0.004 mm off")
    assert (back.back_at, back.result) == (MAY + days(9), "0.004 mm off")
    assert read(shop, work.list_work, part_id="CR-1") == (back,)


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({}, "cannot be out for work from .*: it is in E-1 from .* remove it first"),
        ({"since": MAY + days(12)}, "CR-1 cannot be out for work .* it was at grinder from"),
        ({"since": MAY + days(20), "due": MAY}, "CR-1 cannot be due at 2026-05-02 .* it left at"),
        ({"since": MAY + days(20), "back_at": MAY}, "CR-1 cannot be back at 2026-05-02"),
    ],
)
def test_work_that_cannot_be_is_refused(shop, about, message):
    fit(shop, "CR-1", until=MAY + days(10))
    gone, back = MAY + days(10), MAY + days(15)
    write(shop, work.send_out, "CR-1", shop="grinder", what="x", since=gone, back_at=back)
    details = {"shop": "other", "what": "y", "since": MAY + days(1)} | about
    with pytest.raises(RegisterError, match=message):
        write(shop, work.send_out, "CR-1", **details)
    assert len(read(shop, work.list_work)) == 1


def test_what_is_not_out_does_not_come_back(shop):
    with pytest.raises(RegisterError, match="CR-1 is not out for work: nothing to take back"):
        write(shop, work.take_back, "CR-1", at=MAY, result="")


def test_where_now_tells_engine_shop_and_shelf_in_one_query(shop, count_queries):
    fit(shop, "CR-1")
    fit(shop, "RB-1", position="2", until=MAY + days(2))
    write(shop, work.send_out, "RB-1", shop="lab", what="look", since=MAY + days(3))
    with count_queries() as sent:
        now = {place.part.part_id: place for place in read(shop, where_now)}
    assert len(sent) == 1
    assert (now["CR-1"].fitment.engine_id, now["CR-1"].work) == ("E-1", None)
    assert (now["RB-1"].fitment, now["RB-1"].work.shop) == (None, "lab")
    assert (now["CR-2"].fitment, now["CR-2"].work) == (None, None)
    then = {place.part.part_id: place for place in read(shop, where_now, at=MAY + days(1))}
    assert (then["RB-1"].fitment.position, then["RB-1"].work) == ("2", None)
    before = read(shop, where_now, at=MAY - days(1))
    assert all(place.fitment is None and place.work is None for place in before)


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({"running_s": 0.0}, "0 seconds cannot be the history of part CR-1: give a number above 0"),
        ({"running_s": float("nan")}, "nan cannot be kept: give a finite number"),
        ({"revolutions": -1.0}, "-1 revolutions cannot be"),
        ({"until": BUILT - days(1)}, "has a history until 2025-12-31 .* already"),
        ({"until": MAY + days(1)}, "lasts until 2026-05-03 .* begins at 2026-05-02"),
    ],
)
def test_a_history_that_cannot_be_is_refused(shop, about, message):
    write(shop, history.add_part_history, "CR-1", running_s=60.0, until=BUILT - days(1))
    fit(shop, "CR-1")
    details = {"running_s": 60.0, "until": BUILT} | about
    with pytest.raises(RegisterError, match=message):
        write(shop, history.add_part_history, "CR-1", **details)
    assert len(read(shop, history.list_history)) == 1


def test_a_part_is_not_fitted_within_its_history(shop):
    write(shop, history.add_part_history, "CR-1", running_s=60.0, until=MAY)
    with pytest.raises(RegisterError, match=r"CR-1 cannot have been fitted at .* its history"):
        fit(shop, "CR-1", at=MAY - days(1))
    fit(shop, "CR-1", at=MAY)


example = itertools.count()
places = st.tuples(st.sampled_from("ab"), st.sampled_from([None, "1", "2"]))
attempts = st.lists(
    st.tuples(
        st.sampled_from(["p", "q", "r"]),
        places,
        st.integers(0, 9),
        st.one_of(st.none(), st.integers(1, 6)),
        st.booleans(),
    ),
    max_size=12,
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=12, deadline=None
)
@given(attempts)
def test_no_part_is_in_two_places_and_no_place_holds_two_parts(register, tried):
    """Whatever is tried: of each day, what the fitments that were taken say is looked at."""
    n = next(example)
    with register.writing() as session:
        for name in "ab":
            engines.add_engine(session, f"{name}{n}", SPEC, built_at=MAY)
        for name in "pqr":
            parts.add_part(session, f"{name}{n}", "rod_bearing")
        for part_id, (engine_id, position), day, length, replacing in tried:
            since = MAY + days(day)
            try:
                fitments.fit_part(
                    session,
                    f"{part_id}{n}",
                    f"{engine_id}{n}",
                    position=position,
                    at=since,
                    until=None if length is None else since + days(length),
                    replacing=replacing,
                )
            except RegisterError:
                continue
        taken = [f for f in fitments.list_fitments(session) if f.part_id.endswith(str(n))]
    for day in range(20):
        at = MAY + days(day)
        there = [f for f in taken if f.since <= at and (f.until is None or at < f.until)]
        assert len({f.part_id for f in there}) == len(there)
        for one, other in itertools.combinations(there, 2):
            if one.engine_id == other.engine_id:
                assert None not in (one.position, other.position)
                assert one.position != other.position
