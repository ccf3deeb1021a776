"""Outlook, sheet and back-test, from the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from babbitt.errors import RegisterError
from babbitt.jobs.outlook import back_test_of, outlooks, sheet_of
from babbitt.model.damage_modes import mode_named
from babbitt.model.service_limits import ServiceLimit
from babbitt.outlook.gaps import HardlyWatched, NoLifeDose, Stale
from babbitt.register.records import engines, events, teardowns
from invented import SPEC
from small_book import BUILT, NOW, REFRESHED, add_run, finding, make_book


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return make_book(tmp_path_factory.mktemp("books") / "book")


@pytest.fixture
def own_book(tmp_path: Path):
    return make_book(tmp_path / "book")


def only(book, engine_id="E1", **changes):
    (found,) = outlooks(book, engine_id, **({"runs": 1, "at": NOW} | changes)).engines
    return found


def mode_of(outlook, part: str, mode: str):
    return next(each for each in outlook.modes if each.mode == mode_named(part, mode))


def test_a_starved_engine_is_pulled_and_a_spared_one_is_not(book) -> None:
    starved, spared = outlooks(book, runs=1, at=NOW).engines
    assert (starved.engine_id, starved.verdict.call) == ("E1", "pull")
    assert spared.engine_id == "E2"
    assert spared.verdict.call != "pull"
    assert starved.modes[0].next.replace.p > spared.modes[0].next.replace.p


def test_the_dose_is_that_since_the_refresh_where_parts_were_renewed(book) -> None:
    load = mode_of(only(book), "rod_bearing", "wiped").load
    assert load.doses["oil_starvation"] == pytest.approx(5 * 20.0)
    assert load.doses["running"] == pytest.approx(5.0)


def test_the_dose_is_that_of_a_life_where_parts_were_fitted_again(book) -> None:
    rod = mode_of(only(book), "rod", "stretched")
    assert rod.load.doses["running"] == pytest.approx(12.0)
    assert rod.load.sound_at["running"] == pytest.approx(7.0)


def test_an_earlier_moment_does_not_know_what_came_later(book) -> None:
    early = only(book, at=BUILT + timedelta(days=20))
    assert early.teardowns == 0
    assert early.since == BUILT
    load = mode_of(early, "rod_bearing", "wiped").load
    assert load.doses["oil_starvation"] == pytest.approx(5 * 20.0)
    assert only(book).teardowns == 2


def test_engines_that_were_not_built_yet_are_left_out(own_book) -> None:
    assert outlooks(own_book, runs=1, at=BUILT - timedelta(days=1)).engines == ()
    with pytest.raises(RegisterError, match="was not built yet"):
        outlooks(own_book, "E1", runs=1, at=BUILT - timedelta(days=1))


def test_events_found_under_other_limits_are_said(own_book) -> None:
    add_run(own_book, "E2", NOW - timedelta(hours=5), 0.5, spec_version="old")
    found = only(own_book, "E2")
    assert found.gaps[0].grave
    assert found.gaps[0] == Stale(1)


def test_what_was_not_watched_is_unseen_rather_than_none(own_book) -> None:
    seen = mode_of(only(own_book, "E2"), "rod_bearing", "wiped").now
    for n in range(3):
        at = NOW - timedelta(hours=5 + 2 * n)
        add_run(own_book, "E2", at - timedelta(days=n), 0.0, blind=["oil_starvation"])
    found = only(own_book, "E2")
    unseen = mode_of(found, "rod_bearing", "wiped")
    assert unseen.load.unwatched["oil_starvation"] > 0.0
    assert unseen.now.replace.high > seen.replace.high
    (watched,) = [gap for gap in found.gaps if isinstance(gap, HardlyWatched)]
    assert watched.shares["oil_starvation"] == pytest.approx(0.625)


def test_a_review_takes_an_event_out_of_the_outlook(own_book) -> None:
    before = only(own_book)
    with own_book.register.writing("Ann") as session:
        for dated in events.list_events(session, engine_id="E1", since=REFRESHED):
            events.add_review(session, dated.event.event_id, "sensor_fault")
    after = only(own_book)
    assert after.modes[0].next.replace.p < before.modes[0].next.replace.p
    assert mode_of(after, "rod_bearing", "wiped").load.doses.get("oil_starvation", 0.0) == 0.0


def test_service_limits_of_the_logbook_count(own_book) -> None:
    limits = {"rod": ServiceLimit(running_h=10.0)}
    settings = own_book.settings.model_copy(update={"service": limits})
    found = only(replace(own_book, settings=settings), "E2")
    (passed,) = found.passed
    assert (passed.part, passed.used) == ("rod", pytest.approx(1.2))
    assert "limit" in found.verdict.grounds


def test_a_spec_without_life_doses_is_not_judged_but_said(own_book) -> None:
    with own_book.register.writing("Ann") as session:
        engines.set_spec(session, "E1", SPEC + "[life]\nover_rev = 100.0\n")
    found = only(own_book)
    assert {each.mode.part for each in found.modes} & {"rod_bearing", "main_bearing"} == set()
    (unlived,) = [gap for gap in found.gaps if isinstance(gap, NoLifeDose)]
    assert "oil_starvation" in unlived.kinds


def test_what_was_learned_can_be_shown(book) -> None:
    found = outlooks(book, "E1", runs=1, at=NOW, with_whys=True)
    whys = {each.mode: each for each in found.whys["E1"]}
    wiped = whys[mode_named("rod_bearing", "wiped")]
    assert (wiped.looks, wiped.damaged) == (2, 1)
    assert mode_named("cam_lobe", "scuffed") not in whys


def test_the_sheet_begins_with_what_was_starved(book) -> None:
    sheet, rpm_at = sheet_of(book, "E1", at=NOW)
    starved = {"rod_bearing", "main_bearing", "crank_journal", "turbo_bearing"}
    assert sheet.items[0].part.name in starved
    assert sheet.since == REFRESHED
    assert list(rpm_at.values()) == pytest.approx([6000.0] * len(rpm_at))
    assert rpm_at


def test_positions_of_earlier_damage_lead_the_sheet(own_book) -> None:
    with own_book.register.writing("Ann") as session:
        record = teardowns.teardowns_of(session, "E2")[0]
        bad = finding("scuffed", 3, part="piston_skirt", position="3")
        teardowns.add_findings(session, record.teardown_id, [bad])
    sheet, _ = sheet_of(own_book, "E1", at=NOW)
    skirt = next(item for item in sheet.items if item.part.name == "piston_skirt")
    assert skirt.positions[0] == "3"


def test_past_teardowns_are_forecast_and_scored(book) -> None:
    found = back_test_of(book)
    assert {each.engine_id for each in found.forecasts} == {"E1", "E2"}
    by_engine = {each.engine_id: each.p for each in found.forecasts if each.mode.name == "wiped"}
    assert by_engine["E1"] > by_engine["E2"]
    assert found.score is not None


def test_the_same_logbook_gives_the_same_figures(book) -> None:
    first, second = (only(book, runs=3) for _ in range(2))
    assert [m.next for m in first.modes] == [m.next for m in second.modes]
