"""The demo: one command from raw logs to a match and an outlook, as the README shows them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from shop import Result, run

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
TRUTH = json.loads((ROOT / "demo_logs" / "truth.json").read_text(encoding="utf-8"))
SEASON_ENDS = "2026-11-01"
CHANCE = re.compile(r"\d+(?=(?:-\d+)? %)")
INTERVAL = re.compile(r"(\d+)-(\d+) %|interval (\d+) % to (\d+) %")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo") / "book"


@pytest.fixture(scope="module")
def done(folder: Path) -> Result:
    return run("demo", folder)


def test_the_demo_ends_as_the_readme_shows(done: Result, folder: Path) -> None:
    """Word for word and figure for figure, but for chances.

    They are drawn, and the last digit of a machine's exp() leads to other draws: of some 200
    effective ones (sampling.py) a chance has a standard error of up to 3.5 points, so two machines
    may differ by 10, and in the ends of an interval, which rest on fewer draws, by 15.
    """
    assert done.status == 0, done.err
    ran = done.out[done.out.index("Life used") :]
    (shown,) = re.findall(r"```\n(Life used.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert words(ran) == words(shown), "the README's demo is old: run it and paste it"
    assert chances(ran) == pytest.approx(chances(shown), abs=10.0)
    assert intervals(ran) == pytest.approx(intervals(shown), abs=15.0)
    assert run("--logbook", folder, "verify").status == 0


def words(text: str) -> list[str]:
    """The text without the chances in it, the room they take, and the rules of tables."""
    totals, apart, rest = text.partition(", taken apart on")
    return (totals + apart + CHANCE.sub("#", rest)).replace("─", "").split()


def chances(text: str) -> list[float]:
    return [float(found) for found in CHANCE.findall(INTERVAL.sub("", assessed(text)))]


def intervals(text: str) -> list[float]:
    return [float(end) for ends in INTERVAL.findall(assessed(text)) for end in ends if end]


def assessed(text: str) -> str:
    """What the damage model says, on one line."""
    return " ".join(text.partition(", taken apart on")[2].split())


@pytest.mark.usefixtures("done")
def test_what_truly_made_the_damage_comes_first_in_three_matches_of_four(folder: Path) -> None:
    """The first of the logged causes, or what is in no log where that did it."""
    right = matched = 0
    for teardown in TRUTH["teardowns"]:
        truly = {(made["part"], made["position"]): made["cause"] for made in teardown["causes"]}
        asked = ("match", teardown["engine"], "--at", teardown["at"], "--json")
        for finding in run("--logbook", folder, *asked).json:
            shares = {each["cause"]: each["probability"] for each in finding["causes"]}
            assert sum(shares.values()) == pytest.approx(1.0)
            cause = truly[finding["part"], finding["position"]]
            if cause != "unlogged":
                del shares["unlogged"]
            right += max(shares, key=lambda name: shares[name]) == cause
            matched += 1
    assert matched > 10
    assert right >= 0.75 * matched


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
def test_the_engine_that_starves_in_long_left_handers_fares_worse_where_they_are(
    folder: Path,
) -> None:
    likely = {}
    for circuit in ("Tollbar Bowl", "Fennick Hill"):
        asked = ("--at", SEASON_ENDS, "--runs", "3", "--circuit", circuit, "--json")
        (found,) = run("--logbook", folder, "outlook", "NB-01", *asked).json
        assert found["circuit"] == circuit
        bearing = next(m for m in found["modes"] if m["damage_mode"] == "wiped")
        likely[circuit] = bearing["next"]["replace"]["p"]
    assert likely["Tollbar Bowl"] > likely["Fennick Hill"]


@pytest.mark.usefixtures("done")
def test_the_teardown_sheet_begins_at_the_bearings_of_the_starved_engine(folder: Path) -> None:
    sheet = run("--logbook", folder, "teardown", "sheet", "NB-01", "--at", SEASON_ENDS).out
    first = sheet.split(" 1  ")[1].splitlines()[0]
    assert any(word in first for word in ("bearing", "crankpin", "journal"))
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
