"""Part lists and records from before the logs come in whole, once, or not at all."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.exchange.export import export
from babbitt.exchange.importing import What, import_rows
from babbitt.exchange.rows import Step
from babbitt.logbook.folder import Logbook
from babbitt.register.journal.entries import journal
from babbitt.register.records import fitments, history, parts, teardowns

PARTS = """\
part_id,kind,note,engine,position,fitted_at
CR-1,crankshaft,"bought used, 2024",E1,,2026-02-01
RB-2,rod_bearing,,E1,2,2026-02-01T09:30
CR-2,crankshaft,,,,
"""
HISTORY = """\
subject;running_h;revolutions;until;note
E1;6,5;2106000;2026-01-20T16:00:00Z;by its owner's book
CR-1;1,25;;2026-01-21;
"""
FINDINGS = """\
engine,at,part,position,damage_mode,grade,measurement_name,measurement_value,measurement_unit,disposition,note
E1,2026-03-01,rod_bearing,2,wiped,3,clearance,0.071,mm,replace,
E1,2026-03-01,rod_bearing,1,,0,,,,reuse,
E2,2026-03-02,head_gasket,,leaking,4,,,,replace,at cylinder 3
"""
ALL: dict[What, str] = {"parts": PARTS, "history": HISTORY, "findings": FINDINGS}


def take(book: Logbook, what: What, text: str | None = None, **options: bool) -> tuple[Step, ...]:
    given = ALL[what] if text is None else text
    return import_rows(book, given, source="old.csv", what=what, who="the builder", **options)


def refusal(book: Logbook, what: What, text: str) -> str:
    """Return what is said of a file that is refused; nothing of it was kept."""
    before = entries(book)
    with pytest.raises(RegisterError) as error:
        take(book, what, text)
    assert entries(book) == before
    return str(error.value)


def entries(book: Logbook) -> int:
    with book.register.reading() as session:
        return len(journal(session))


def test_a_part_list_adds_parts_and_fitments(book: Logbook) -> None:
    steps = take(book, "parts")
    assert steps == (
        Step(2, "crankshaft CR-1", "added"),
        Step(2, "CR-1 fitted to E1", "added"),
        Step(3, "rod_bearing RB-2", "added"),
        Step(3, "RB-2 fitted to E1 2", "added"),
        Step(4, "crankshaft CR-2", "added"),
    )
    with book.register.reading() as session:
        found = {part.part_id: part for part in parts.list_parts(session)}
        bearing = fitments.list_fitments(session, part_id="RB-2")
    assert found["CR-1"].note == "bought used, 2024"
    assert [(each.engine_id, each.position) for each in bearing] == [("E1", "2")]
    # Half past nine in Berlin, in winter.
    assert bearing[0].since == datetime(2026, 2, 1, 8, 30, tzinfo=UTC)


def test_history_comes_in_for_engines_and_parts(book: Logbook) -> None:
    take(book, "parts")
    take(book, "history")
    with book.register.reading() as session:
        of_engine, of_part = history.list_history(session)
    assert (of_engine.engine_id, of_engine.running_s, of_engine.revolutions) == (
        "E1",
        6.5 * 3600,
        2_106_000,
    )
    assert (of_part.part_id, of_part.running_s, of_part.revolutions) == ("CR-1", 4500.0, None)


def test_findings_of_one_engine_and_time_are_one_teardown(book: Logbook) -> None:
    take(book, "findings")
    with book.register.reading() as session:
        torn = teardowns.teardowns_of(session)
        found = teardowns.findings_of(session)
    assert [each.engine_id for each in torn] == ["E1", "E2"]
    assert [(each.teardown.engine_id, each.finding.part) for each in found] == [
        ("E1", "rod_bearing"),
        ("E1", "rod_bearing"),
        ("E2", "head_gasket"),
    ]
    assert found[0].finding.measurement is not None
    assert found[0].finding.measurement.value == 0.071


@pytest.mark.parametrize("what", ["parts", "history", "findings"])
def test_the_same_file_twice_adds_nothing_and_says_so(book: Logbook, what: What) -> None:
    take(book, "parts")
    first = take(book, what)
    kept = entries(book)
    again = take(book, what)
    assert [(step.line, step.what) for step in again] == [(s.line, s.what) for s in first]
    assert {step.outcome for step in again} == {"there"}
    assert entries(book) == kept


@pytest.mark.parametrize("what", ["history", "findings"])
def test_a_dry_run_says_what_would_be_and_does_nothing(book: Logbook, what: What) -> None:
    take(book, "parts")
    kept = entries(book)
    would = take(book, what, dry_run=True)
    assert entries(book) == kept
    assert take(book, what) == would


def test_a_dry_run_asks_every_rule(book: Logbook) -> None:
    taken = PARTS + "CR-3,crankshaft,,E1,,2026-02-02\n"
    with pytest.raises(RegisterError, match="line 5: The crankshaft of E1 is CR-1"):
        take(book, "parts", taken, dry_run=True)


def test_every_fault_of_a_file_is_told_at_once(book: Logbook) -> None:
    told = refusal(
        book,
        "parts",
        "part_id,kind,note,engine,position,fitted_at\n"
        "CR-1,crankshaft,,E1,,soon\n"
        ",crankshaft,,,,\n"
        "CR-2,crankshft,,,,\n"
        "CR-3,crankshaft,,E9,,2026-02-01\n"
        "CR-4,crankshaft,,,3,\n"
        "CR-5,crankshaft,,E1,,2199-02-01\n"
        "CR-6,crankshaft\n",
    )
    for clause in (
        "old.csv: line 2: fitted_at: 'soon' is no date or time",
        "line 3: part_id: fill it in",
        "line 4: There is no part 'crankshft' (did you mean 'crankshaft'?)",
        "line 5: There is no engine 'E9'",
        "line 6: engine: fill it in, or leave position and fitted_at blank",
        "line 7: fitted_at: 2199-02-01 lies in the future",
        "line 8: it has 2 cells and the header 6",
    ):
        assert clause in told


def test_faults_of_history(book: Logbook) -> None:
    take(book, "parts")
    told = refusal(
        book,
        "history",
        "subject,running_h,revolutions,until\n"
        "CR-9,1,,2026-01-01\n"
        "E1,long,many,2026-01-01\n"
        "E1,,,\n"
        "E2,-1,,2026-01-01\n",
    )
    for clause in (
        "line 2: subject: there is no engine or part 'CR-9' (did you mean CR-",
        "line 3: running_h: 'long' is no number",
        "line 3: revolutions: 'many' is no number",
        "line 4: running_h: fill it in",
        "line 4: until: fill it in",
        "line 5: -3600 seconds cannot be the history of engine E2",
    ):
        assert clause in told


def test_faults_of_findings(book: Logbook) -> None:
    told = refusal(
        book,
        "findings",
        "engine,at,part,position,damage_mode,grade,disposition,photos\n"
        "E1,2026-03-01,rod_bearing,2,wipd,3,replace,\n"
        "E1,,rod_bearing,1,,0,reuse,\n"
        "E7,2026-03-01,rod_bearing,1,,0,reuse,\n"
        "E2,2026-03-01,rod_bearing,1,,0,reuse,a.jpg\n"
        "E2,2026-03-01,,,,,,\n",
    )
    for clause in (
        "line 2: 'damage_mode' is 'wipd'",
        "line 3: at: fill it in",
        "line 4: There is no engine 'E7'",
        "line 5: photos: leave it blank",
        "line 6: 'part' is missing",
    ):
        assert clause in told


def test_a_mended_figure_does_not_count_beside_the_old_one(book: Logbook) -> None:
    take(book, "parts")
    take(book, "history")
    told = refusal(book, "history", HISTORY.replace("6,5", "6,8"))
    assert "line 2: The engine E1 has a history until" in told


def test_a_part_that_is_another_in_the_register_is_refused(book: Logbook) -> None:
    take(book, "parts")
    told = refusal(book, "parts", PARTS.replace("CR-2,crankshaft", "CR-2,cylinder_head"))
    assert "line 4: kind: CR-2 has 'crankshaft' in the register and 'cylinder_head' here" in told


def test_a_finding_more_goes_to_the_teardown_that_is_there(book: Logbook) -> None:
    take(book, "findings")
    more = FINDINGS + "E2,2026-03-02,main_bearing,1,,0,,,,reuse,\n"
    assert [step.outcome for step in take(book, "findings", more)] == [
        "there",
        "there",
        "there",
        "added",
    ]
    with book.register.reading() as session:
        assert len(teardowns.teardowns_of(session)) == 2


@pytest.mark.parametrize(
    ("text", "clause"),
    [
        ("", "old.csv has no rows"),
        ("part_id,kind\n", "old.csv has no rows"),
        ("part,kind\nCR-1,crankshaft\n", "line 1: unknown column 'part' (did you mean 'part_id'?)"),
        ('part_id,kind\n"CR-1,crankshaft\n', "cells cannot be told apart"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(book: Logbook, text: str, clause: str) -> None:
    assert clause in refusal(book, "parts", text)


def test_what_was_exported_comes_in_again(full: Logbook, book: Logbook, tmp_path: Path) -> None:
    export(full, tmp_path / "out", format="csv")
    text = (tmp_path / "out" / "part.csv").read_text(encoding="utf-8")
    take(book, "parts", text.replace(",withdrawn_at", ",fitted_at"))
    with full.register.reading() as there, book.register.reading() as here:
        assert parts.list_parts(here) == parts.list_parts(there)
