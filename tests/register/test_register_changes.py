"""What holds for every change that a person makes: who sees what, and what a refusal leaves."""

import re
import threading

import pytest

from babbitt.errors import RegisterError
from babbitt.register.journal.entries import journal
from babbitt.register.records import builds, corrections, engines, fitments, parts, work
from babbitt.register.tables.store import Register
from register_records import BUILT, MAY, add_engine, add_run, days, read, write


def test_the_second_to_save_sees_what_the_first_wrote(with_engine):
    """Both look at the same refresh; Bob moves it, then Ann, who still sees the old one."""
    seen = write(with_engine, builds.add_refresh, "E-1", MAY, "new rings").version
    (refresh,) = read(with_engine, builds.refreshes_of, "E-1")
    amend = {"seen": seen, "at": MAY - days(1)}
    write(with_engine, builds.amend_refresh, refresh.refresh_id, **amend, who="Bob")
    message = (
        "Since you looked at the refresh of E-1 on 2026-05-01 10:00:00 UTC, Bob moved the refresh "
        "of E-1 from 2026-05-02 10:00:00 UTC to 2026-05-01 10:00:00 UTC (20"
    )
    with pytest.raises(RegisterError, match=re.escape(message)):
        write(with_engine, builds.amend_refresh, refresh.refresh_id, seen=seen, note="rings")
    (after,) = read(with_engine, builds.refreshes_of, "E-1")
    assert (after.at, after.note, after.version) == (MAY - days(1), "new rings", seen + 1)
    write(with_engine, builds.amend_refresh, refresh.refresh_id, seen=after.version, note="rings")


def test_two_programs_that_save_at_once_do_so_one_after_the_other(with_engine, database):
    """Each waits until the other has looked; only one of them finds what it looked at."""
    refresh = write(with_engine, builds.add_refresh, "E-1", MAY)
    address = with_engine._reader.url
    both = threading.Barrier(2)
    refused = []

    def save(who, days_before):
        with Register.open(address, create=False) as register:
            seen = read(register, builds.refreshes_of, "E-1")[0].version
            both.wait()
            try:
                at = MAY - days(days_before)
                amend = {"seen": seen, "at": at, "who": who}
                write(register, builds.amend_refresh, refresh.refresh_id, **amend)
            except RegisterError as error:
                refused.append(str(error))

    people = [threading.Thread(target=save, args=person) for person in [("Ann", 1), ("Bob", 2)]]
    for person in people:
        person.start()
    for person in people:
        person.join()
    (told,) = refused
    (entry, _, _) = read(with_engine, journal)
    assert f"{entry.who} moved the refresh of E-1" in told
    assert read(with_engine, builds.refreshes_of, "E-1")[0].version == refresh.version + 1


def test_who_looked_at_the_newest_may_save_though_the_program_wrote_since(with_engine):
    """Judging a run is no change of it by a person."""
    from babbitt.register.records import events

    add_run(with_engine)
    seen = read(with_engine, engines.list_engines)[0].version
    with with_engine.writing() as session:
        before = corrections.run_row(session, "r1").version
        events.replace_events(session, "r1", [], judged_by="again")
    assert write(with_engine, corrections.remove_run, "r1", seen=before).version == before + 1
    write(with_engine, engines.set_built, "E-1", BUILT - days(1), seen=seen)


def test_a_refused_act_leaves_nothing_and_the_session_goes_on(with_engine):
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    before = read(with_engine, journal)
    with with_engine.writing() as session:
        for at in (BUILT - days(1), BUILT):
            line = builds.SheetLine("crankshaft", None, "replaced", "CR-1")
            with pytest.raises(RegisterError):
                builds.add_refresh(session, "E-1", at, lines=[line])
        builds.add_refresh(session, "E-1", MAY, lines=[line])
    assert len(read(with_engine, builds.refreshes_of, "E-1")) == 1
    assert [each.since for each in read(with_engine, fitments.list_fitments)] == [MAY]
    assert len(read(with_engine, journal)) == len(before) + 1


def test_a_change_to_what_is_there_already_is_not_written_down(with_engine):
    refresh = write(with_engine, builds.add_refresh, "E-1", MAY, "rings")
    before = read(with_engine, journal)
    same = write(with_engine, builds.amend_refresh, refresh.refresh_id, at=MAY, note="rings")
    assert same == refresh
    assert read(with_engine, journal) == before


@pytest.mark.parametrize("text", ["bell\x07", "nul\x00", "half \ud800", "\x9b"])
def test_control_codes_are_refused_wherever_they_stand(with_engine, text):
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    for what, args, kwargs in [
        (builds.add_refresh, ("E-1", MAY, text), {}),
        (parts.amend_part, ("CR-1",), {"note": text}),
        (parts.amend_part, ("CR-1",), {"note": "fine", "reason": text}),
        (work.send_out, ("CR-1",), {"shop": text, "what": "polish", "since": MAY}),
    ]:
        with pytest.raises(RegisterError, match=r"holds the control code U\+[0-9A-F]{4}: take it"):
            write(with_engine, what, *args, **kwargs)


def test_lines_and_tabs_in_a_note_are_kept(with_engine):
    note = "rings:\n\ttop 0.42\r\n"
    write(with_engine, builds.add_refresh, "E-1", MAY, note)
    assert read(with_engine, builds.refreshes_of, "E-1")[0].note == note


@pytest.mark.parametrize("number", [0, -1, 99, 2**31, 10**30])
def test_an_unknown_record_is_refused(with_engine, number):
    with pytest.raises(RegisterError, match=f"There is no refresh {number}: `babbitt"):
        write(with_engine, builds.amend_refresh, number, note="")


def test_a_withdrawn_record_can_be_withdrawn_once(with_engine):
    refresh = write(with_engine, builds.add_refresh, "E-1", MAY)
    write(with_engine, builds.withdraw_refresh, refresh.refresh_id)
    with pytest.raises(RegisterError, match="There is no refresh"):
        write(with_engine, builds.withdraw_refresh, refresh.refresh_id)


def test_a_withdrawn_engine_is_gone_until_it_is_added_again(with_engine):
    add_engine(with_engine, "E-2")
    write(with_engine, engines.withdraw_engine, "E-2")
    assert [each.engine_id for each in read(with_engine, engines.list_engines)] == ["E-1"]
    with pytest.raises(RegisterError, match="There is no engine 'E-2': did you mean E-1"):
        write(with_engine, builds.add_refresh, "E-2", MAY)
    add_engine(with_engine, "E-2", built_at=MAY)
    assert [each.built_at for each in read(with_engine, engines.list_engines)] == [BUILT, MAY]


def test_an_engine_with_records_is_not_withdrawn(with_engine):
    add_run(with_engine)
    with pytest.raises(RegisterError, match=r"engine E-1 has a run .2026-05-02 .*that counts"):
        write(with_engine, engines.withdraw_engine, "E-1")
    write(with_engine, corrections.remove_run, "r1")
    write(with_engine, engines.withdraw_engine, "E-1")
    with pytest.raises(RegisterError, match="There is no engine 'E-1'"):
        write(with_engine, corrections.restore_run, "r1")


def test_an_engine_was_not_built_after_what_it_ran(with_engine):
    add_run(with_engine)
    write(with_engine, engines.set_built, "E-1", MAY)
    with pytest.raises(RegisterError, match=r"E-1 cannot have been built on .* has a run from"):
        write(with_engine, engines.set_built, "E-1", MAY + days(1))
    write(with_engine, engines.set_built, "E-1", None)
    assert read(with_engine, engines.list_engines)[0].built_at is None


def test_a_note_is_no_book(with_engine):
    long = "x" * 10_001
    with pytest.raises(RegisterError, match="is 10,001 characters long: shorten it to 10,000"):
        write(with_engine, builds.add_refresh, "E-1", MAY, long)
    refresh = write(with_engine, builds.add_refresh, "E-1", MAY, long[1:])
    with pytest.raises(RegisterError, match="reason is 10,001"):
        write(with_engine, builds.withdraw_refresh, refresh.refresh_id, reason=long)
