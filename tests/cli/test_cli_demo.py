"""The demo: one command from raw logs to a table, as the README shows it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shop import Result, run

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
TRUTH = json.loads((ROOT / "demo_logs" / "truth.json").read_text(encoding="utf-8"))
SEASON_ENDS = "2026-11-01"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo") / "book"


@pytest.fixture(scope="module")
def done(folder: Path) -> Result:
    return run("demo", folder)


def test_the_demo_ends_on_the_table_in_the_readme(done: Result, folder: Path) -> None:
    assert done.status == 0, done.err
    table = done.out[done.out.index("Life used") :].splitlines()
    shown = README.read_text(encoding="utf-8")
    for line in table:
        assert line.rstrip() in shown, "the README's table is old: run the demo and paste it"
    assert "NB-01" in done.out
    assert run("--logbook", folder, "check").status == 0


@pytest.mark.usefixtures("done")
def test_what_truly_made_the_damage_comes_first_in_every_match(folder: Path) -> None:
    """The first of the logged causes, or what is in no log where that did it."""
    matched = 0
    for teardown in TRUTH["teardowns"]:
        truly = {(made["part"], made["position"]): made["cause"] for made in teardown["causes"]}
        asked = ("match", teardown["engine"], "--at", teardown["at"], "--json")
        for finding in run("--logbook", folder, *asked).json:
            shares = {each["cause"]: each["probability"] for each in finding["causes"]}
            assert sum(shares.values()) == pytest.approx(1.0)
            cause = truly[finding["part"], finding["position"]]
            if cause != "unlogged":
                del shares["unlogged"]
            assert max(shares, key=lambda name: shares[name]) == cause
            matched += 1
    assert matched > 10


@pytest.mark.usefixtures("done")
def test_the_worst_engines_are_called_in_and_the_healthy_one_is_not(folder: Path) -> None:
    found = run("--logbook", folder, "outlook", "--at", SEASON_ENDS, "--json").json
    calls = {each["engine_id"]: each["call"] for each in found}
    assert calls["NB-01"] == "pull"
    assert calls["NB-02"] == "pull"
    assert calls["NB-03"] != "pull"
    drift = {each["engine_id"]: each["drift"] for each in found}
    assert drift["NB-02"]["high"] < 0.0, "its oil pressure was made to fall"
    assert drift["NB-01"]["low"] < 0.0 < drift["NB-01"]["high"]
    assert drift["NB-03"]["low"] < 0.0 < drift["NB-03"]["high"]


@pytest.mark.usefixtures("done")
def test_the_teardown_sheet_begins_at_the_bearings_of_the_starved_engine(folder: Path) -> None:
    sheet = run("--logbook", folder, "teardown", "sheet", "NB-01", "--at", SEASON_ENDS).out
    first = sheet.split(" 1  ")[1].splitlines()[0]
    assert "bearing" in first or "journal" in first
    assert "starved of oil in long left-handers" in sheet


@pytest.mark.usefixtures("done")
def test_the_back_test_beats_counting_hours(folder: Path) -> None:
    found = run("--logbook", folder, "backtest", "--json").json
    assert found["brier"] < found["brier_by_hours"]


def test_a_demo_is_not_made_in_a_folder_in_use(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    done = run("demo", tmp_path)
    assert done.status == 1
    assert "is not an empty folder" in done.err
    assert (tmp_path / "notes.txt").read_text() == "mine"
