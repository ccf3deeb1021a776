"""Match, outlook, teardown sheet and back-test through the installed command."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from babbitt.present.words import CAUTION
from shop import Shop, run, write_minute

FINDINGS = """
[[finding]]
part = "keeper"
position = "2"
damage_mode = "worn"
grade = 3
disposition = "replace"

[[finding]]
part = "rod_bolt"
grade = 0
disposition = "reuse"
"""


@pytest.fixture(scope="module")
def stripped(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A shop whose engine was over-revved, taken apart and refreshed."""
    folder = tmp_path_factory.mktemp("stripped")
    shop = Shop(shutil.copytree(made_once, folder / "shop"))
    (folder / "findings.toml").write_text(FINDINGS, encoding="utf-8")
    logs = [
        write_minute(folder / f"{day}.csv", start=f"2026-05-0{day}T10:00:00Z", peak_rpm=9000.0)
        for day in (1, 2, 3)
    ]
    for words in (
        ("ingest", *logs, "--engine", "E1"),
        ("teardown", "record", "E1", "--at", "2026-05-04", "--findings", folder / "findings.toml"),
        ("engine", "refresh", "E1", "--at", "2026-05-05"),
    ):
        done = shop(*words)
        assert done.status == 0, done.err
    return shop


def test_a_finding_is_matched_to_its_events(stripped: Shop) -> None:
    (found,) = stripped("match", "E1", "--json").json
    assert (found["part"], found["position"], found["damage_mode"]) == ("keeper", "2", "worn")
    shares = {cause["cause"]: cause["probability"] for cause in found["causes"]}
    assert sum(shares.values()) == pytest.approx(1.0)
    over_rev = next(cause for cause in found["causes"] if cause["cause"] == "over_rev")
    events = {
        event["event_id"] for event in stripped("events", "--kind", "over_rev", "--json").json
    }
    assert set(over_rev["events"]) == events
    assert len(events) == 3
    said = stripped("match", "E1").out
    assert said.startswith("E1, taken apart on 4 May 2026: 1 finding of damage.")
    assert "Valve keeper 2 worn: " in said


def test_an_outlook_says_what_it_cannot_judge_and_carries_the_caution(stripped: Shop) -> None:
    said = stripped("outlook", "E1", "--at", "2026-05-06", "--why")
    assert said.status == 0, said.err
    flat = " ".join(said.out.split())
    assert "[life] of the spec states no dose of low_oil_pressure" in flat
    assert "No runs since the refresh" in flat
    assert CAUTION in flat
    assert "valve keeper worn: 1 look, 1 damaged" in flat
    (found,) = stripped("outlook", "--json", "--runs", "3", "--at", "2026-05-06").json
    assert found["call"] in ("run on", "inspect", "pull")
    assert found["runs"] == 3
    assert {"part", "damage_mode", "now", "next"} <= set(found["modes"][0])


def test_a_sheet_prints_as_text_and_as_a_page(stripped: Shop, tmp_path: Path) -> None:
    text = stripped("teardown", "sheet", "E1", "--at", "2026-05-04").out
    assert text.startswith("Teardown sheet: E1")
    assert "valve keeper" in text
    page = tmp_path / "sheet.html"
    assert stripped("teardown", "sheet", "E1", "--html", page).status == 0
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    missing = stripped("teardown", "sheet", "E1", "--html", tmp_path / "no" / "sheet.html")
    assert missing.status == 1
    assert missing.err.startswith("babbitt: Cannot write")


def test_a_back_test_scores_what_was_foretold(stripped: Shop) -> None:
    found = stripped("backtest", "--json").json
    assert {each["damage_mode"] for each in found["forecasts"]} == {"stretched", "worn"}
    assert found["brier"] is not None
    assert "2 forecasts of 1 teardowns, 1 of damage" in " ".join(stripped("backtest").out.split())


def test_what_is_not_there_is_refused_in_a_sentence(shop: Shop) -> None:
    refused = shop("match", "E1")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: No teardown of E1 is recorded: ")
    assert shop("outlook", "E9").status == 1
    assert shop("outlook", "--at", "2025-01-01", "E1").status == 1
    assert shop("outlook", "--runs", "999").status == 2
    assert shop("backtest").out.startswith("No teardown to look back on")


def test_a_logbook_without_engines_has_no_outlook(tmp_path: Path) -> None:
    run("new", tmp_path / "book")
    assert run("--logbook", tmp_path / "book", "outlook", "--json").json == []
    assert "No engines yet" in run("--logbook", tmp_path / "book", "outlook").out
