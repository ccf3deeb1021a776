"""Entries of the journal in words."""

import pytest

from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement, SheetLine
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import undo
from babbitt.register.records import (
    builds,
    corrections,
    engines,
    events,
    fitments,
    history,
    parts,
    teardowns,
    work,
)
from register_records import (
    MAY,
    OTHER_SPEC,
    a_finding,
    add_engine,
    add_run,
    an_event,
    days,
    read,
    write,
)


@pytest.fixture
def shop(with_engine):
    add_engine(with_engine, "E-2")
    add_run(with_engine, "r1", [an_event()])
    write(with_engine, parts.add_part, "RB-1", "rod_bearing")
    write(with_engine, parts.add_part, "CR-1", "crankshaft")
    return with_engine


def newest(register):
    """Return the sentence of the newest entry, its instants as days."""
    (entry,) = read(register, journal, limit=1)
    return sentence(entry, lambda at: f"{at:%-d %b}")


def test_a_refresh_is_added_moved_and_withdrawn(shop):
    refresh_id = write(shop, builds.add_refresh, "E-1", MAY).refresh_id
    assert newest(shop) == "added the refresh of E-1 on 2 May"
    write(shop, builds.amend_refresh, refresh_id, at=MAY + days(1))
    assert newest(shop) == "moved the refresh of E-1 from 2 May to 3 May"
    write(shop, builds.amend_refresh, refresh_id, note="rings", at=MAY)
    assert newest(shop) == (
        "changed the refresh of E-1 on 3 May: note from nothing to rings, at from 3 May to 2 May"
    )
    write(shop, builds.withdraw_refresh, refresh_id)
    assert newest(shop) == "withdrew the refresh of E-1 on 2 May"
    entry = write(shop, undo)
    assert newest(shop) == (
        f"took back no. {entry.undoes}: brought back the refresh of E-1 on 2 May"
    )


def test_an_act_of_many_changes_tells_of_the_first(shop):
    lines = [SheetLine("ring", str(n), "replaced") for n in (1, 2, 3)]
    stud = BuiltMeasurement(Measurement("stud torque", 110.0, "N·m"))
    write(shop, builds.add_refresh, "E-1", MAY, lines=lines, measurements=[stud])
    assert newest(shop) == (
        "added the refresh of E-1 on 2 May, added the line on the piston ring 1 on the build sheet "
        "of E-1, added the line on the piston ring 2 on the build sheet of E-1, and 2 changes more"
    )


def test_parts_are_fitted_removed_sent_out_and_taken_back(shop):
    write(shop, fitments.fit_part, "RB-1", "E-1", at=MAY, position="2")
    assert newest(shop) == "fitted RB-1 to E-1, position 2"
    write(shop, fitments.remove_part, "RB-1", at=MAY + days(1))
    assert newest(shop) == "removed RB-1 from E-1, position 2, on 3 May"
    write(shop, work.send_out, "CR-1", shop="the grinder", what="polish", since=MAY)
    assert newest(shop) == "sent CR-1 to the grinder"
    write(shop, work.take_back, "CR-1", at=MAY + days(2), result="polished")
    assert newest(shop) == "took CR-1 back from the grinder on 4 May"
    write(shop, parts.amend_part, "CR-1", note="second hand")
    assert newest(shop) == "changed the crankshaft CR-1: note from nothing to second hand"


def test_engines_get_limits_and_dates(shop):
    write(shop, engines.set_spec, "E-1", OTHER_SPEC)
    assert newest(shop) == "set the limits of E-1"
    write(shop, engines.set_built, "E-1", None)
    assert newest(shop) == "changed engine E-1: built at from 1 Jan to none"
    write(shop, engines.withdraw_engine, "E-2")
    assert newest(shop) == "withdrew engine E-2"


def test_runs_are_given_removed_and_reviewed(shop):
    write(shop, events.add_review, an_event().event_id, "harmless")
    assert newest(shop) == f"reviewed event {an_event().event_id} as harmless"
    write(shop, corrections.assign_run, "r1", "E-2")
    assert newest(shop) == "gave the run r1 of E-1 to E-2"
    write(shop, corrections.remove_run, "r1")
    assert newest(shop) == "withdrew the run r1 of E-2"
    unlogged = write(shop, corrections.add_unlogged, "E-1", minutes=40, at=MAY).run_id
    assert newest(shop) == f"added the unlogged running {unlogged} of E-1"
    write(shop, corrections.amend_run, unlogged, at=MAY + days(1))
    assert newest(shop) == f"moved the unlogged running {unlogged} of E-1 from 2 May to 3 May"


def test_findings_and_histories_are_named(shop):
    write(shop, teardowns.record_teardown, "E-1", MAY, [a_finding(position=None)])
    assert newest(shop) == (
        "added the teardown of E-1 on 2 May, added the finding wiped, grade 3, on the rod bearing"
    )
    (found,) = read(shop, teardowns.findings_of)
    sound = a_finding(mode=None, grade=0)
    write(shop, teardowns.amend_finding, found.finding_id, sound)
    assert newest(shop).startswith("changed the finding wiped, grade 3, on the rod bearing: posit")
    write(shop, teardowns.withdraw_finding, found.finding_id)
    assert newest(shop) == "withdrew the finding sound, grade 0, on the rod bearing 2"
    write(shop, history.add_part_history, "CR-1", running_s=60.0, until=MAY)
    assert newest(shop) == "added the history of CR-1 before the logs"
    write(shop, history.add_engine_history, "E-2", running_s=60.0, until=MAY)
    assert newest(shop) == "added the history of E-2 before the logs"


def test_braces_in_what_people_write_are_only_text(shop):
    write(shop, parts.add_part, "{0}{x}", "rod", note="{y}")
    assert newest(shop) == "added the connecting rod {0}{x}"
    write(shop, parts.amend_part, "{0}{x}", note="{z}")
    assert newest(shop) == "changed the connecting rod {0}{x}: note from {y} to {z}"


def test_without_an_instant_of_its_own_a_sentence_is_in_utc(shop):
    write(shop, builds.add_refresh, "E-1", MAY)
    (entry,) = read(shop, journal, limit=1)
    assert sentence(entry) == "added the refresh of E-1 on 2026-05-02 10:00:00 UTC"
