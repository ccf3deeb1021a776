"""Logs that were refused: remembered until they are runs, or somebody sets them aside."""

from __future__ import annotations

import pytest

from babbitt.errors import RegisterError, Remedy
from babbitt.register.backup import copy_register
from babbitt.register.records import corrections, engines, refusals
from babbitt.register.records.refusals import Refusal
from babbitt.register.tables.store import Register, sqlite_url
from register_records import MAY, add_engine, add_run, days, read, write

UNIT = (Remedy("unit", "oil_pressure", "psi"),)


def a_refusal(sha256="a1", *, engine_id="E-1", at=MAY, **changes):
    about = {"file": f"{sha256}.csv", "error": f"{sha256}.csv: no unit.", "remedies": UNIT}
    return Refusal(sha256.ljust(64, "0"), engine_id=engine_id, at=at, **(about | changes))


def note(register, *args, **about):
    write(register, refusals.note_refusal, a_refusal(*args, **about))


def ids(register, **wanted):
    found = read(register, refusals.list_refusals, **wanted)
    return [each.sha256.rstrip("0") for each in found]


def test_a_refusal_is_kept_as_it_was_the_newest_first(with_engine):
    add_engine(with_engine, "E-2")
    note(with_engine, "a1")
    note(with_engine, "b2", engine_id="E-2", at=MAY + days(1), remedies=())
    b2 = a_refusal("b2", engine_id="E-2", at=MAY + days(1), remedies=())
    assert read(with_engine, refusals.list_refusals) == (b2, a_refusal("a1"))
    assert ids(with_engine, engine_id="E-1") == ["a1"]
    with pytest.raises(RegisterError, match="'E-9'"):
        read(with_engine, refusals.list_refusals, engine_id="E-9")


def test_refused_again_it_is_brought_up_to_date(with_engine):
    note(with_engine)
    note(with_engine, file="copy.csv", error="copy.csv: it overlaps.", at=MAY + days(1))
    (found,) = read(with_engine, refusals.list_refusals)
    assert (found.file, found.error, found.at) == (
        *("copy.csv", "copy.csv: it overlaps."),
        MAY + days(1),
    )


def test_what_is_set_aside_stays_so_until_it_is_taken_up(with_engine):
    note(with_engine)
    assert write(with_engine, refusals.set_aside, "a1").set_aside_at is not None
    assert ids(with_engine) == []
    note(with_engine, at=MAY + days(1))
    assert ids(with_engine) == []
    assert ids(with_engine, include_set_aside=True) == ["a1"]
    assert write(with_engine, refusals.take_up, "a1").set_aside_at is None
    assert ids(with_engine) == ["a1"]


def test_it_is_counted_from_when_it_was_refused_until_it_is_set_aside(with_engine):
    note(with_engine)
    assert read(with_engine, refusals.count_refusals, MAY - days(1)) == 0
    assert read(with_engine, refusals.count_refusals, MAY) == 1
    assert read(with_engine, refusals.count_refusals) == 1
    write(with_engine, refusals.set_aside, "a1")
    assert read(with_engine, refusals.count_refusals, MAY) == 0


@pytest.mark.parametrize("log_id", ["c3", "", "a_", "a%"])
def test_a_beginning_that_names_no_refused_log_is_a_sentence(with_engine, log_id):
    note(with_engine, "a1")
    for act in (refusals.set_aside, refusals.take_up):
        with pytest.raises(RegisterError, match="There is no refused log"):
            write(with_engine, act, log_id)


def test_a_beginning_of_several_names_them(with_engine):
    note(with_engine, "a1")
    note(with_engine, "a2")
    with pytest.raises(RegisterError, match=r"several refused logs \(a10+, a20+\)"):
        write(with_engine, refusals.set_aside, "a")


def test_a_log_that_is_a_run_is_not_refused(with_engine):
    """The log of the run r1 has the SHA-256 r1000...: another writer took it in meanwhile."""
    add_run(with_engine, "r1")
    note(with_engine, "r1")
    assert ids(with_engine, include_set_aside=True) == []
    write(with_engine, corrections.remove_run, "r1")
    assert ids(with_engine) == [], "nothing was noted"
    note(with_engine, "r1")
    assert ids(with_engine) == ["r1"]
    write(with_engine, corrections.restore_run, "r1")
    assert ids(with_engine) == []
    assert read(with_engine, refusals.count_refusals, MAY) == 0
    with pytest.raises(RegisterError):
        write(with_engine, refusals.set_aside, "r1")


def test_what_was_taken_in_is_forgotten(with_engine):
    note(with_engine, "a1")
    note(with_engine, "b2")
    write(with_engine, refusals.forget_refusal, a_refusal("a1").sha256)
    write(with_engine, refusals.forget_refusal, a_refusal("a1").sha256)
    assert ids(with_engine) == ["b2"]


def test_a_withdrawn_engine_takes_its_refused_logs_along(with_engine):
    note(with_engine)
    write(with_engine, engines.withdraw_engine, "E-1")
    assert ids(with_engine, include_set_aside=True) == []


def test_signs_that_no_database_keeps_are_replaced(with_engine):
    note(
        with_engine,
        file="a\x00\udcff.csv",
        error="a\x00.csv: no.",
        remedies=[Remedy("map", "\x01", "rpm")],
    )
    (found,) = read(with_engine, refusals.list_refusals)
    assert (found.file, found.error) == ("a\ufffd\ufffd.csv", "a\ufffd.csv: no.")
    assert found.remedies == (Remedy("map", "\ufffd", "rpm"),)


def test_a_copy_of_the_register_has_them(with_engine, tmp_path):
    note(with_engine)
    copy_register(with_engine, tmp_path / "copy.sqlite")
    with Register.open(sqlite_url(tmp_path / "copy.sqlite"), create=False) as copy:
        assert ids(copy) == ["a1"]
