"""Where runs were: recorded, found again however it is written, corrected, and taken back."""

import pytest

from babbitt.errors import RegisterError
from babbitt.register.journal.entries import journal
from babbitt.register.journal.fields import sentence
from babbitt.register.journal.undo import redo, undo
from babbitt.register.queries.dump import dump_tables
from babbitt.register.queries.run_exposures import run_exposures
from babbitt.register.queries.run_lines import run_lines
from babbitt.register.records import circuits, corrections, runs
from register_records import MAY, a_run, add_engine, an_exposure, days, read, write


@pytest.fixture
def book(with_engine):
    """Runs at Tollbar on 2 and 3 May, at Fennick on 4 May, and one that nobody placed."""
    for n, circuit in enumerate(("Tollbar Bowl", " TOLLBAR  bowl", "Fennick", None)):
        run = a_run(f"r{n}", at=MAY + days(n))
        write(with_engine, runs.record_run, run, an_exposure(), circuit=circuit)
    return with_engine


def where(register, run_id):
    return read(register, runs.find_run, run_id).circuit


def ids(found):
    return [each.run_id for each in found]


def test_a_circuit_keeps_the_spelling_in_which_it_was_written_first(book):
    assert [where(book, f"r{n}") for n in range(4)] == [
        *("Tollbar Bowl", "Tollbar Bowl", "Fennick", None)
    ]
    assert read(book, circuits.circuits_known) == ("Fennick", "Tollbar Bowl")


def test_runs_are_found_by_it(book):
    assert ids(read(book, runs.list_runs, circuit="tollbar bowl")) == ["r0", "r1"]
    assert read(book, runs.list_runs, circuit="Rookmere") == ()
    found = read(book, run_lines, circuit=" FENNICK", limit=9)
    assert (ids(found.lines), found.found) == (["r2"], 1)
    assert [line.circuit for line in read(book, run_lines, limit=9).lines] == [
        *(None, "Fennick", "Tollbar Bowl", "Tollbar Bowl")
    ]


def test_two_spellings_that_an_undo_brought_together_are_one_circuit(book):
    write(book, corrections.amend_run, "r2", circuit="Rookmere")
    write(book, runs.record_run, a_run("r9", at=MAY + days(9)), an_exposure(), circuit="FENNICK")
    write(book, undo, entry_id=read(book, journal)[0].entry_id)
    assert {where(book, "r2"), where(book, "r9")} == {"Fennick", "FENNICK"}
    assert ids(read(book, runs.list_runs, circuit="fennick")) == ["r2", "r9"]
    assert read(book, circuits.circuits_known) == ("Fennick", "Tollbar Bowl")


def test_it_is_corrected_taken_back_and_done_again(book):
    write(book, corrections.amend_run, "r0", circuit="fennick", reason="wrong day")
    assert where(book, "r0") == "Fennick"
    (entry, *_) = read(book, journal)
    assert (entry.reason, entry.engine_ids) == ("wrong day", ("E-1",))
    assert sentence(entry) == "moved the run r0 of E-1 from Tollbar Bowl to Fennick"
    write(book, undo)
    assert where(book, "r0") == "Tollbar Bowl"
    write(book, redo)
    assert where(book, "r0") == "Fennick"


def test_whoever_looked_at_an_older_version_is_refused(book):
    seen = read(book, runs.find_run, "r0").version
    write(book, corrections.amend_run, "r0", circuit="Fennick", seen=seen)
    with pytest.raises(RegisterError, match="Since you looked at the run r0"):
        write(book, corrections.amend_run, "r0", circuit="Rookmere", seen=seen)


def test_many_runs_are_placed_in_one_act(book):
    before = len(read(book, journal))
    write(book, corrections.set_circuit, ["r2", "r3"], "Rookmere", "entered by hand")
    assert (where(book, "r2"), where(book, "r3")) == ("Rookmere", "Rookmere")
    entries = read(book, journal)
    assert len(entries) == before + 1
    assert sentence(entries[0]) == (
        "moved the run r2 of E-1 from Fennick to Rookmere, said that the run r3 of E-1 was at "
        "Rookmere"
    )
    write(book, undo)
    assert (where(book, "r2"), where(book, "r3")) == ("Fennick", None)


def test_one_wrong_id_leaves_all_as_they_were(book):
    with pytest.raises(RegisterError, match="There is no run 'q'"):
        write(book, corrections.set_circuit, ["r0", "q"], "Rookmere")
    assert where(book, "r0") == "Tollbar Bowl"


def test_it_may_become_unknown(book):
    write(book, corrections.amend_run, "r0", circuit=None)
    write(book, corrections.set_circuit, ["r1"], "")
    assert where(book, "r0") is where(book, "r1") is None


def test_a_run_that_is_judged_stays_so_where_only_its_circuit_changes(book):
    with book.writing() as session:
        runs.run_row(session, "r0").judged_by = "key"
    write(book, corrections.amend_run, "r0", circuit="Fennick")
    assert read(book, runs.find_run, "r0").judged_by == "key"


def test_a_log_with_times_of_its_own_still_keeps_them(book):
    with pytest.raises(RegisterError, match="has a log that says when it was"):
        write(book, corrections.amend_run, "r0", circuit="Fennick", minutes=5)
    assert where(book, "r0") == "Tollbar Bowl"


def test_unlogged_running_has_one_too(book):
    added = write(
        book, corrections.add_unlogged, "E-1", minutes=9, at=MAY + days(8), circuit="tollbar bowl"
    )
    assert added.circuit == "Tollbar Bowl"
    moved = write(book, corrections.amend_run, added.run_id, minutes=8, circuit="Fennick")
    assert (moved.duration_s, moved.circuit) == (480.0, "Fennick")


def test_a_run_that_is_taken_in_anew_keeps_its_circuit_unless_another_is_given(book):
    write(book, corrections.remove_run, "r0")
    write(book, runs.record_run, a_run("r0"), an_exposure())
    assert where(book, "r0") == "Tollbar Bowl"
    write(book, corrections.remove_run, "r0")
    write(book, runs.record_run, a_run("r0"), an_exposure(), circuit="Fennick")
    assert where(book, "r0") == "Fennick"


def test_what_is_too_long_for_the_register_is_refused(book):
    with pytest.raises(RegisterError, match="at most 64 characters"):
        write(book, corrections.amend_run, "r0", circuit="T" * 65)
    with pytest.raises(RegisterError, match="at most 64 characters"):
        write(book, runs.record_run, a_run("r8", at=MAY + days(8)), an_exposure(), circuit="T" * 65)


def test_sums_and_exports_carry_it(book):
    add_engine(book, "E-2")
    found = read(book, run_exposures, ["E-1", "E-2"])
    assert [each.circuit for each in found] == ["Tollbar Bowl", "Tollbar Bowl", "Fennick", None]
    (table,) = (each for each in read(book, dump_tables) if each.name == "run")
    at = table.columns.index("circuit")
    assert [row[at] for row in table.rows] == ["Tollbar Bowl", "Tollbar Bowl", "Fennick", None]
