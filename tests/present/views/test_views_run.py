"""The page of a run in words: what happened, how it was read, and what an event was."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import Logbook
from babbitt.model.engine_spec import parse_spec
from babbitt.model.event import Reason, confidence_of
from babbitt.model.kinds import KINDS, Kind
from babbitt.present.views.event_words import event_doubts, event_sentence, event_title
from babbitt.present.views.run import left_to_review, read_run, what_happened, what_was_read
from babbitt.present.words import Reader
from babbitt.register.records import corrections, events
from run_book import AT, FIRST, SECOND, TOML, make_run_book

METRIC, IMPERIAL = Reader("metric", UTC), Reader("imperial", UTC)
SPEC = parse_spec(TOML, source="test")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    return make_run_book(tmp_path_factory.mktemp("run") / "book")


@pytest.fixture
def own_book(tmp_path: Path) -> Logbook:
    return make_run_book(tmp_path / "book")


def test_a_run_is_found_by_the_beginning_of_its_id_with_its_neighbours(book: Logbook) -> None:
    first, second = read_run(book, "r1"), read_run(book, SECOND)
    assert (first.before, first.after) == (None, SECOND)
    assert (second.before, second.after) == (FIRST, None)
    assert [event.kind for event in first.events] == ["over_rev", "oil_starvation"]


def test_an_unknown_run_is_told_in_a_sentence(book: Logbook) -> None:
    with pytest.raises(RegisterError, match="no run 'zz'"):
        read_run(book, "zz")


def test_the_finding_names_each_kind_and_its_worst(book: Logbook) -> None:
    view = read_run(book, FIRST)
    assert what_happened(view, METRIC) == (
        "2 harmful events: over-rev, up to 7,900 rpm; oil starvation, down to 100 kPa."
    )
    assert "down to 14.5 psi" in what_happened(view, IMPERIAL)
    assert left_to_review(view) == "2 to review."


def test_events_set_aside_are_no_harm(own_book: Logbook) -> None:
    view = read_run(own_book, FIRST)
    with own_book.register.writing("Ann") as session:
        events.add_review(session, view.events[0].event_id, "sensor_fault", "plug loose")
        events.add_review(session, view.events[1].event_id, "harmless")
    view = read_run(own_book, FIRST)
    assert what_happened(view, METRIC) == (
        "Nothing harmful is left: 2 events found, and set aside by review."
    )
    assert left_to_review(view) == "All reviewed."
    assert view.reviews[view.events[0].event_id].note == "plug loose"
    assert view.newest_review == 2


def test_unlogged_running_says_that_nothing_is_known(own_book: Logbook) -> None:
    with own_book.register.writing("Ann") as session:
        record = corrections.add_unlogged(session, "E1", minutes=10, at=AT.replace(month=7))
    view = read_run(own_book, record.run_id)
    assert "without a logger" in what_happened(view, METRIC)
    assert what_was_read(view) == ()
    assert view.blind == ()


def test_the_quality_of_a_run_is_said_in_sentences(book: Logbook) -> None:
    view = read_run(book, FIRST)
    said = what_was_read(view)
    assert said[0].startswith("Engine speed has 1 single-sample spike")
    assert any("floor line stands in" in sentence for sentence in said)
    channels = tuple(each for each in view.record.channels if each.name != "boost")
    record = replace(view.record, warnings=(), channels=channels)
    well = replace(view, record=record, blind=("overboost",))
    assert what_was_read(well)[:2] == (
        "Every sensor read well throughout.",
        "Not watched: overboost. Sound boost would bring that back.",
    )
    removed = replace(view, record=replace(view.record, removed_at=AT, start_basis="file"))
    assert any("counts in no sum" in sentence for sentence in what_was_read(removed))
    assert any("file's own date" in sentence for sentence in what_was_read(removed))


def test_starvation_is_told_as_a_mechanic_would(book: Logbook) -> None:
    event = read_run(book, FIRST).events[1]
    read = {"rpm": 5000.0, "expected_oil_pressure": 345.0}
    assert event_title(event) == "oil starvation, left-hander"
    assert event_sentence(event, SPEC, METRIC, read) == (
        f"Oil pressure fell to 100 kPa for {event.duration_s:.3g} s in a left-hander at 5,000 rpm; "
        "345 kPa was expected."
    )
    assert event_sentence(event, SPEC, METRIC, {}).endswith("in a left-hander.")


@pytest.mark.parametrize(
    ("kind", "changes", "says"),
    [
        ("over_rev", {"peak": 7900.0, "cause": "driven"}, "300 above its redline"),
        ("over_rev", {"peak": 8400.0, "cause": "on_power"}, "its mechanical limit is 8,300 rpm"),
        ("coolant_overheat", {"peak": 113.0, "cause": "heat_soak"}, "113 °C after shutdown, 5 °C"),
        ("oil_overheat", {"peak": 144.0}, "144 °C, 9 °C above its limit"),
        ("overboost", {"peak": 200.0}, "200 kPa, 20 kPa above its limit"),
        ("cold_load", {"peak": 5600.0}, "on cold oil, at up to 5,600 rpm with the oil at 40 °C"),
        ("low_oil_pressure", {"peak": 90.0}, ", not cornering"),
    ],
)
def test_every_kind_has_its_sentence(
    book: Logbook, kind: Kind, changes: dict[str, object], says: str
) -> None:
    changes = {"cause": None, "side": None, "kind": kind} | changes
    event = replace(read_run(book, FIRST).events[0], **changes)
    sentence = event_sentence(event, SPEC, METRIC, {"oil_temperature": 40.0})
    assert says in sentence
    assert sentence.endswith(".")


def test_a_difference_of_temperatures_has_no_offset_for_an_imperial_reader(book: Logbook) -> None:
    changes = {"kind": "oil_overheat", "peak": 140.0, "cause": None}
    event = replace(read_run(book, FIRST).events[0], **changes)
    assert "284 °F, 9 °F above" in event_sentence(event, SPEC, IMPERIAL, {})


def test_doubts_are_said(book: Logbook) -> None:
    event = read_run(book, FIRST).events[0]
    assert event_doubts(event, SPEC) == ()
    doubtful = replace(
        event,
        confidence=confidence_of([Reason("no_lateral_g")]),
        ended_by="gap",
        spec_version="other",
    )
    assert [sentence.split()[0] for sentence in event_doubts(doubtful, SPEC)] == [
        "Unsure:",
        "A",
        "It",
    ]
    assert "log ends" in event_doubts(replace(event, ended_by="end_of_run"), SPEC)[0]


def test_no_kind_is_without_a_sentence(book: Logbook) -> None:
    event = read_run(book, FIRST).events[0]
    for kind in KINDS:
        assert event_sentence(replace(event, kind=kind), SPEC, METRIC, {})
