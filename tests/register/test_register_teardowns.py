"""Teardowns and findings as they are recorded."""

from dataclasses import replace

import pytest

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement
from babbitt.register.records import builds, fitments, parts, teardowns
from register_records import BUILT, MAY, a_finding, add_engine, days, read, write

PHOTO = "a" * 64 + ".jpg"
MEASURED = Measurement("clearance", 0.071, "mm", 0.045, 0.065)


def tear_down(register, at=MAY, findings=(), engine_id="E-1", **about):
    return write(register, teardowns.record_teardown, engine_id, at, findings, **about)


def found(register, engine_id=None):
    return read(register, teardowns.findings_of, engine_id)


def test_findings_come_back_as_they_were_made(with_engine):
    findings = [
        a_finding(measurement=MEASURED, note="worst mid-span", photos=(PHOTO,)),
        a_finding("head_gasket", None, None, 0),
        a_finding("turbo_bearing", "turbine", "worn", 1, measurement=replace(MEASURED, low=None)),
    ]
    torn_down = tear_down(with_engine, findings=findings, note="rods only")
    kept = found(with_engine)
    assert [each.finding for each in kept] == findings
    assert {each.teardown for each in kept} == {torn_down}
    assert (torn_down.engine_id, torn_down.at, torn_down.note) == ("E-1", MAY, "rods only")
    assert read(with_engine, teardowns.kept_photos) == {PHOTO}


def test_a_teardown_is_of_the_build_that_it_ends(with_engine):
    write(with_engine, builds.add_refresh, "E-1", MAY)
    at_refresh = tear_down(with_engine, MAY)
    later = tear_down(with_engine, MAY + days(1))
    assert (at_refresh.build_number, later.build_number) == (1, 2)
    (refresh,) = read(with_engine, builds.refreshes_of, "E-1")
    write(with_engine, builds.amend_refresh, refresh.refresh_id, at=MAY + days(2))
    assert [t.build_number for t in read(with_engine, teardowns.teardowns_of, "E-1")] == [1, 1]


def test_a_teardown_before_the_newest_refresh_must_be_meant(with_engine):
    write(with_engine, builds.add_refresh, "E-1", MAY)
    message = "dated 2026-05-01 .* before the refresh of engine E-1 on .*the build before"
    with pytest.raises(RegisterError, match=message):
        tear_down(with_engine, MAY - days(1), [a_finding()])
    assert read(with_engine, teardowns.teardowns_of) == ()
    assert tear_down(with_engine, MAY - days(1), earlier_build=True).build_number == 1


@pytest.mark.parametrize(
    ("at", "message"),
    [
        (BUILT, "The teardown is dated 2026-01-01 .* the engine E-1 was built at 2026-01-01"),
        (BUILT - days(1), "The teardown is dated 2025-12-31"),
        (MAY, "There is a teardown of engine E-1 at 2026-05-02 .* add the findings to that one"),
    ],
)
def test_a_teardown_that_cannot_be_is_refused(with_engine, at, message):
    tear_down(with_engine, MAY)
    with pytest.raises(RegisterError, match=message):
        tear_down(with_engine, at, [a_finding()])
    assert found(with_engine) == ()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (a_finding(), a_finding(grade=4)),
        (a_finding(), a_finding(position=None)),
        (a_finding(), a_finding(mode=None, grade=0)),
        (a_finding(position=None, mode=None, grade=0), a_finding(mode="worn", grade=1)),
        (a_finding(mode=None, grade=0), a_finding(mode=None, grade=0)),
    ],
)
def test_findings_that_contradict_are_refused_together(with_engine, one, other):
    with pytest.raises(RegisterError, match=r"There is the finding .* so there cannot be the"):
        tear_down(with_engine, findings=[one, other])
    assert read(with_engine, teardowns.teardowns_of) == ()


@pytest.mark.parametrize(
    "other",
    [
        a_finding(position="3"),
        a_finding(mode="worn"),
        a_finding("main_bearing"),
        a_finding(mode="overheated", grade=0),
    ],
)
def test_findings_that_agree_are_kept(with_engine, other):
    tear_down(with_engine, findings=[a_finding(), other])
    assert len(found(with_engine)) == 2


def test_a_finding_where_the_engine_has_no_cylinder_is_refused(with_engine):
    with pytest.raises(RegisterError, match="An engine of 4 cylinders has no cylinder 7"):
        tear_down(with_engine, findings=[a_finding(position="7")])


def test_findings_may_be_added_later_and_must_agree(with_engine):
    torn_down = tear_down(with_engine, findings=[a_finding()])
    write(with_engine, teardowns.add_findings, torn_down.teardown_id, [a_finding(position="1")])
    assert [each.finding.position for each in found(with_engine)] == ["2", "1"]
    with pytest.raises(RegisterError, match="already"):
        write(with_engine, teardowns.add_findings, torn_down.teardown_id, [a_finding()])


def test_findings_are_corrected_and_withdrawn(with_engine):
    tear_down(with_engine, findings=[a_finding(), a_finding(position="1")])
    (first, second) = found(with_engine)
    mended = a_finding(grade=4, measurement=MEASURED)
    about = {"seen": first.version, "reason": "measured again"}
    changed = write(with_engine, teardowns.amend_finding, first.finding_id, mended, **about)
    assert (changed.finding, changed.version) == (mended, first.version + 1)
    with pytest.raises(RegisterError, match="so there cannot be"):
        write(with_engine, teardowns.amend_finding, second.finding_id, a_finding())
    write(with_engine, teardowns.withdraw_finding, second.finding_id)
    assert found(with_engine) == (changed,)


def test_a_withdrawn_teardown_takes_its_findings_along_but_keeps_photos(with_engine):
    torn_down = tear_down(with_engine, findings=[a_finding(photos=(PHOTO,))])
    write(with_engine, teardowns.withdraw_teardown, torn_down.teardown_id)
    assert found(with_engine) == read(with_engine, teardowns.teardowns_of) == ()
    assert read(with_engine, teardowns.kept_photos) == {PHOTO}


def test_a_finding_names_the_parts_that_were_there(with_engine):
    add_engine(with_engine, "E-2")
    for part_id, engine_id, position, since, until in [
        ("old", "E-1", "2", BUILT, MAY - days(9)),
        ("there", "E-1", "2", MAY - days(9), MAY),
        ("next", "E-1", "2", MAY, None),
        ("beside", "E-1", "1", BUILT, None),
        ("elsewhere", "E-2", "2", BUILT, None),
    ]:
        write(with_engine, parts.add_part, part_id, "rod_bearing")
        where = {"position": position, "at": since, "until": until}
        write(with_engine, fitments.fit_part, part_id, engine_id, **where)
    tear_down(with_engine, findings=[a_finding(), a_finding("main_bearing")])
    tear_down(with_engine, MAY + days(1), [a_finding(position=None)])
    assert [each.part_ids for each in found(with_engine)] == [("there",), (), ("beside", "next")]


def test_findings_are_listed_by_engine_in_their_order(with_engine, count_queries):
    add_engine(with_engine, "E-2")
    tear_down(with_engine, MAY + days(1), [a_finding(position="3")])
    tear_down(with_engine, MAY, [a_finding(position="2"), a_finding(position="1")])
    tear_down(with_engine, MAY, [a_finding(position="4")], engine_id="E-2")
    with count_queries() as sent:
        every = found(with_engine)
    assert len(sent) == 4
    assert [each.finding.position for each in every] == ["2", "1", "4", "3"]
    assert [each.finding.position for each in found(with_engine, "E-1")] == ["2", "1", "3"]
    with pytest.raises(RegisterError, match="no engine 'E-9'"):
        found(with_engine, "E-9")
