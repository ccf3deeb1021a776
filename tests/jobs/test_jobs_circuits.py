"""The outlook at a circuit, from the record."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.jobs.outlook import outlooks
from babbitt.register.records import corrections, engines, runs
from invented import SPEC
from small_book import BUILT, LIFE, NOW, add_run, make_book

OTHER = SPEC.replace("invented four", "another four")


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """E3 of the type of E1 and E2 is starved at Tollbar and not at Fennick; E4 is of another."""
    made = make_book(tmp_path_factory.mktemp("books") / "book")
    with made.register.writing() as session:
        engines.add_engine(session, "E3", SPEC + LIFE, built_at=BUILT)
        engines.add_engine(session, "E4", OTHER + LIFE, built_at=BUILT)
    for n in range(4):
        day = BUILT + timedelta(days=5 * n, hours=1)
        add_run(made, "E3", day, 12.0, circuit="Tollbar")
        add_run(made, "E3", day + timedelta(days=1), 0.1, circuit="Fennick")
        add_run(made, "E4", day, 1.0, circuit="Rookmere")
    return made


def starved(book, circuit, engine_id="E3", runs=5):
    """The chance that a rod bearing is wiped after the next runs."""
    (found,) = outlooks(book, engine_id, runs=runs, at=NOW, circuit=circuit).engines
    return next(each for each in found.modes if each.mode.name == "wiped").next.replace.p


def test_the_same_engine_is_likelier_damaged_after_runs_where_it_starves(book) -> None:
    assert starved(book, "Tollbar") > starved(book, None) > starved(book, "Fennick")
    assert starved(book, "Tollbar", runs=9) > starved(book, "Tollbar", runs=2)


def test_an_engine_that_was_never_there_is_expected_to_take_what_its_mates_took(book) -> None:
    (found,) = outlooks(book, "E2", runs=1, at=NOW, circuit="tollbar").engines
    assert found.pool.made_by == {"E3": 4}
    assert starved(book, "tollbar", "E2") > starved(book, "fennick", "E2")


def test_a_circuit_of_another_type_is_none_of_its_own(book) -> None:
    with pytest.raises(RegisterError, match="Known circuits: Fennick, Tollbar"):
        outlooks(book, "E3", runs=1, at=NOW, circuit="Rookmere")
    with pytest.raises(RegisterError, match="Known circuit: Rookmere"):
        outlooks(book, "E4", runs=1, at=NOW, circuit="Tollbar")


def test_of_all_engines_those_whose_type_was_never_there_are_left_out_and_named(book) -> None:
    found = outlooks(book, runs=1, at=NOW, circuit="Tollbar")
    assert [each.engine_id for each in found.engines] == ["E1", "E2", "E3"]
    assert found.left_out == ("E4",)
    assert outlooks(book, runs=1, at=NOW).left_out == ()
    with pytest.raises(RegisterError, match="was logged at Nowhere"):
        outlooks(book, runs=1, at=NOW, circuit="Nowhere")


def test_what_was_at_no_circuit_yet_then_is_not_known(book) -> None:
    with pytest.raises(RegisterError, match="No run says where it was"):
        outlooks(book, "E3", runs=1, at=BUILT, circuit="Tollbar")


def test_a_corrected_circuit_counts(tmp_path: Path) -> None:
    book = make_book(tmp_path / "book")
    with book.register.writing() as session:
        ids = [each.run_id for each in runs.list_runs(session, engine_id="E1")]
        corrections.set_circuit(session, ids[:3], "Tollbar")
    (found,) = outlooks(book, "E1", runs=1, at=NOW, circuit="Tollbar").engines
    assert (found.pool.source, found.pool.runs) == ("engine", 3)
