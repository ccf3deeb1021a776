"""The story of one engine: its events, the life it used, what may come, and in which words."""

from __future__ import annotations

from datetime import UTC, timedelta

import numpy as np
import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import Logbook
from babbitt.present.views import engine_words as words
from babbitt.present.views.engine_prospect import Prospect, prospect
from babbitt.present.views.engine_story import Story, engine_story
from babbitt.present.views.foresight import Foresight
from babbitt.present.words import Reader
from babbitt.register.records import engines, events
from engine_book import LOSS_AN_HOUR, NOW, RUNS, add_run

READER = Reader("metric", UTC)


def read(book: Logbook, engine_id: str = "E1", runs: int = 2) -> tuple[Story, Prospect]:
    foreseen = Foresight(book).at(NOW)
    return engine_story(book, foreseen, engine_id), prospect(book, foreseen, engine_id, runs)


def test_events_lie_in_their_run_where_they_happened(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    assert len(story.runs) == RUNS
    # each 900 s into an hour's run
    assert story.events["place"].tolist() == [n + 0.25 for n in range(RUNS)]
    assert story.events["used"].tolist() == pytest.approx([0.08] * RUNS)


def test_the_share_of_a_life_dose_grows_event_by_event_to_the_totals(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    used = story.used[story.used["kind"] == "oil_starvation"]
    assert used["place"].tolist() == [0.0, *(n + 0.25 for n in range(RUNS)), float(RUNS)]
    assert used["used"].iloc[0] == 0.0
    assert (used["used"].diff().dropna() >= 0.0).all()
    (row,) = (row for row in story.totals.events if row.kind == "oil_starvation")
    assert used["used"].iloc[-1] == pytest.approx(row.used)


def test_what_a_review_sets_aside_stays_to_be_seen_and_counts_no_more(engine_book: Logbook) -> None:
    with engine_book.register.writing("Ann") as session:
        (first, *_) = events.list_events(session, engine_id="E1")
        events.add_review(session, first.event.event_id, "harmless")
    story, _ = read(engine_book)
    assert story.events["counted"].tolist() == [False] + [True] * (RUNS - 1)
    assert story.used["used"].max() == pytest.approx(0.08 * (RUNS - 1))
    assert words.time_line_in_words(story) == (
        "5 events count, 1 set aside by review. Oil starvation has used most of its life dose: "
        "40 %."
    )


def test_the_fan_opens_from_today_and_its_middle_is_what_to_expect(engine_book: Logbook) -> None:
    with engine_book.register.writing("Ann") as session:
        add_run(session, "E1", NOW - timedelta(days=1), doses=(36.0,))
    _, found = read(engine_book, runs=4)
    fan = found.fan[found.fan["kind"] == "oil_starvation"]
    assert fan["place"].tolist() == [7.0, 8.0, 9.0, 10.0, 11.0]
    assert fan[["low", "middle", "high"]].iloc[0].tolist() == pytest.approx([0.84] * 3)
    assert (fan["low"] <= fan["middle"]).all()
    assert (fan["middle"] <= fan["high"]).all()
    # seven runs of 84 in all: 12 a run; the mean of 512 futures is near
    assert fan["middle"].iloc[-1] == pytest.approx(0.84 + 4 * 0.12, abs=0.02)


def test_drift_is_told_run_by_run_as_it_was_put_in(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    assert story.drift is not None
    hours = story.drift.seen["hours"].to_numpy()
    assert hours.tolist() == [n + 0.5 for n in range(RUNS)]
    assert np.diff(story.drift.seen["change"]) == pytest.approx(-LOSS_AN_HOUR, rel=0.1)
    assert story.drift.line["change"].iloc[0] == 0.0
    end = story.drift.line.iloc[-1]
    assert end["low"] < end["change"] < end["high"] < 0.0


def test_steady_pressure_lies_below_what_is_expected_as_it_drifts(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    assert story.pressure is not None
    seen = story.pressure.seen
    newest = seen[(seen["run"] == RUNS - 1) & (seen["rpm"] == 5000.0) & (seen["oil_c"] == 95.0)]
    fresh = 0.08 * 5000.0 - 5.0
    assert newest["kpa"].item() == pytest.approx(fresh * (1.0 - 5.5 * LOSS_AN_HOUR), rel=0.01)
    line = story.pressure.expected
    near = line[line["oil_c"] == 100.0].set_index("rpm")["kpa"]
    assert np.interp(5000.0, near.index, near) == pytest.approx(0.08 * 5000.0 - 10.0, rel=0.01)


def test_running_time_by_speed_and_boost_is_summed_over_the_build(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    assert story.table is not None
    assert np.sum(story.table.seconds) == pytest.approx(RUNS * 3600.0)
    assert words.table_in_words(story) == (
        "Minutes in each cell: 1 h 00 min of 6 h 00 min were at 7,000 rpm or more."
    )


def test_parts_that_took_alike_stand_in_one_row(engine_book: Logbook) -> None:
    story, _ = read(engine_book)
    assert words.parts_table(story).rows == (
        (
            "Rod bearing 1 to 4",
            "RB-1 to RB-4",
            "oil starvation 48 %",
            "150 % of 4 h (past it)",
            "6",
            "6 h 00 min",
            "2,160,000",
        ),
    )


def test_the_tables_say_what_the_totals_are_and_what_took_most(engine_book: Logbook) -> None:
    story, found = read(engine_book)
    rows = {row[0]: row[1:] for row in words.totals_table(story, found, READER).rows}
    assert rows["Oil starvation"] == ("6", "9 s", "48 rev", "100", "48 %", "16 %", "100 %")
    worst = words.worst_table(story, READER)
    assert worst.rows[0] == ("Oil starvation", "1 Feb 2026 00:15", "120 kPa", "1.5 s", "8 %")
    chances = words.outlook_table(found)
    assert chances.columns[4] == "After 2 more runs"
    on = found.outlook.modes[0]
    assert chances.rows[0][0].casefold() == on.mode.part.replace("_", " ")
    assert on.mode.title in chances.rows[0][1]


def test_a_run_whose_file_is_missing_costs_no_more_than_a_sentence(engine_book: Logbook) -> None:
    _, found = read(engine_book)
    assert found.rpm_at == {}
    assert "is missing: restore the file" in words.call_in_words(found, READER)[-1]


def test_an_engine_that_never_ran_says_what_to_do(engine_book: Logbook) -> None:
    story, found = read(engine_book, "E3")
    assert (len(story.runs), len(story.events), story.table, story.drift) == (0, 0, None, None)
    assert words.since_in_words(story, READER).endswith("It has not run since.")
    assert words.time_line_in_words(story).startswith("No run since the refresh: take in a log")
    assert "floor line of the spec stands in" in words.pressure_in_words(story)
    assert "two runs" in words.drift_words(story, found, READER)
    assert words.worst_table(story, READER).rows == ()
    assert words.parts_table(story).rows == ()


def test_an_engine_that_is_not_there_or_not_built_is_refused(engine_book: Logbook) -> None:
    with pytest.raises(RegisterError, match="no engine 'E9'"):
        read(engine_book, "E9")
    with engine_book.register.writing("Ann") as session:
        engines.set_built(session, "E3", NOW + timedelta(days=3))
    with pytest.raises(RegisterError, match="E3 was not built yet"):
        read(engine_book, "E3")
