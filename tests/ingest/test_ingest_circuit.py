"""The circuit that a log names in the notes above its header."""

from __future__ import annotations

import pytest

from babbitt.ingest.circuit import NotedCircuit, contradiction
from babbitt.ingest.kept import from_json, to_json
from babbitt.ingest.source import Instructions
from ingest_logs import csv_of, preview, ramp, read, source_of

TABLE = csv_of(["Time (s)", "RPM (1/min)"], ramp())


def noted(*notes: str) -> NotedCircuit | None:
    return preview("".join(f"{note}\n" for note in notes) + TABLE).circuit


@pytest.mark.parametrize(
    "note",
    [
        "Track,Tollbar Bowl",
        "circuit: Tollbar Bowl",
        "# VENUE: Tollbar Bowl",
        "Course,Tollbar,Bowl",
        "Strecke,Tollbar Bowl",
    ],
)
def test_a_note_names_the_circuit(note: str) -> None:
    assert noted("Driver,A. N. Other", note) == NotedCircuit("Tollbar Bowl", 2)


@pytest.mark.parametrize(
    "note", ["Session,Tollbar Bowl", "Track,", "Course,271.3", "Track,n/a", f"Track,{'T' * 65}"]
)
def test_what_names_no_circuit_is_none(note: str) -> None:
    assert noted("Driver,A. N. Other", note) is None


def test_of_several_notes_the_plainest_counts() -> None:
    assert noted("Venue,Tollbar Park", "Circuit,North loop") == NotedCircuit("North loop", 2)


def test_it_is_said_how_it_is_known_and_nothing_else_of_the_run_depends_on_it() -> None:
    log = f"Track,Tollbar\n{TABLE}"
    plain, stated = read(log), read(log, circuit="Fennick")
    assert plain.info == stated.info
    assert plain.info.dialect[-1] == "Circuit: Tollbar, by line 1."
    assert "Tollbar" not in " ".join(read(TABLE).info.dialect)


def test_a_log_that_names_another_circuit_than_was_stated_is_told() -> None:
    found = NotedCircuit("Tollbar", 3)
    assert contradiction(found, " Fennick ") == (
        "The log names the circuit Tollbar in line 3; Fennick was stated, and counts.",
    )
    assert contradiction(found, "TOLLBAR") == ()
    assert contradiction(found, None) == ()
    assert contradiction(None, "Fennick") == ()


def test_how_a_log_was_read_is_kept_without_where_it_was() -> None:
    kept = to_json(Instructions("E1", circuit="Tollbar"), source_of(TABLE).modified_at)
    again, _ = from_json(kept, "E1")
    assert again.circuit is None
