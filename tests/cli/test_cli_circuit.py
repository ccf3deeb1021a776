"""Where runs were, through the installed command: stated, listed, corrected, looked ahead to."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from shop import LogWriter, Shop, write_minute

HARD, EASY = "Tollbar Bowl", "Fennick"


@pytest.fixture(scope="module")
def season(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A shop whose engine is over-revved at one circuit and not at the other."""
    folder = tmp_path_factory.mktemp("season")
    shop = Shop(shutil.copytree(made_once, folder / "shop"))
    for day in range(1, 5):
        for circuit, peak_rpm, hour in ((HARD, 9000.0, 10), (EASY, 6000.0, 12)):
            log = folder / f"{day}-{hour}.csv"
            write_minute(log, start=f"2026-05-0{day}T{hour}:00:00Z", peak_rpm=peak_rpm)
            done = shop("ingest", log, "--engine", "E1", "--circuit", circuit)
            assert done.status == 0, done.err
    return shop


def stretched(shop: Shop, *words: object) -> float:
    """The chance that a rod bolt is stretched after the next runs."""
    asked = ("--runs", 20, "--at", "2026-05-06", "--json")
    (found,) = shop("outlook", "E1", *asked, *words).json
    (mode,) = [each for each in found["modes"] if each["part"] == "rod_bolt"]
    return float(mode["next"]["replace"]["p"])


def test_the_outlook_is_worse_where_the_engine_is_over_revved(season: Shop) -> None:
    hard, easy = (stretched(season, "--circuit", each) for each in (HARD, EASY))
    assert hard > stretched(season) > easy


def test_the_outlook_names_the_circuit_and_what_it_is_drawn_from(season: Shop) -> None:
    said = season("outlook", "E1", "--at", "2026-05-06", "--circuit", "tollbar  BOWL")
    flat = " ".join(said.out.split())
    assert "after the next run at Tollbar Bowl" in flat
    assert "Drawn from 4 runs of E1 at Tollbar Bowl in its present build." in flat
    (found,) = season(
        "outlook", "E1", "--at", "2026-05-06", "--circuit", "tollbar  BOWL", "--json"
    ).json
    assert found["circuit"] == HARD
    assert found["drawn_from"] == {"source": "build", "runs": {"E1": 4}}


def test_an_unknown_circuit_is_refused_with_those_that_are_known(season: Shop) -> None:
    refused = season("outlook", "E1", "--circuit", "Rookmere")
    assert refused.status == 1
    assert "was logged at Rookmere. Known circuits: Fennick, Tollbar Bowl." in " ".join(
        refused.err.split()
    )
    assert refused.out == ""


def test_runs_are_listed_by_it(season: Shop) -> None:
    found = season("run", "list", "--circuit", "FENNICK", "--json").json
    assert [run["circuit"] for run in found] == [EASY] * 4
    assert "Tollbar Bowl" in season("run", "list").out
    none = season("run", "list", "--circuit", "Rookmere")
    assert "No run at Rookmere. Known circuits: Fennick, Tollbar Bowl." in none.out
    assert season("run", "list", "--circuit", "Rookmere", "--json").json == []


def test_where_no_run_says_its_circuit_the_step_that_says_it_is_told(shop: Shop) -> None:
    none = shop("run", "list", "--circuit", "Rookmere").out
    assert "No run says where it was: tell that first." in none
    assert "  babbitt run correct RUN_ID --circuit NAME" in none


def test_runs_are_placed_later_exported_so_and_it_is_taken_back(
    shop: Shop, write_log: LogWriter, tmp_path: Path
) -> None:
    logs = [
        write_log(f"{day}.csv", start=f"2026-05-0{day}T10:00:00Z", peak_rpm=7000.0 + day)
        for day in (1, 2)
    ]
    taken = shop("ingest", *logs, "--engine", "E1", "--json").json
    first, second = (each["run_id"] for each in taken)
    refused = shop("outlook", "E1", "--circuit", HARD)
    assert refused.status == 1
    assert "No run says where it was" in refused.err
    placed = shop("run", "correct", first, second, "--circuit", HARD, "--note", "by hand")
    assert placed.status == 0, placed.err
    assert placed.out.count("was at Tollbar Bowl.") == 2
    assert f"Run {first} of E1 at Tollbar Bowl" in " ".join(shop("run", "show", first).out.split())
    added = shop(
        *("run", "add-unlogged", "E1", "--minutes", "10", "--at", "2026-05-03", "--circuit"),
        "tollbar bowl",
    )
    assert "10 min 00 s of unlogged running at Tollbar Bowl" in " ".join(added.out.split())

    assert shop("export", tmp_path / "out").status == 0
    with (tmp_path / "out" / "run.csv").open(encoding="utf-8-sig", newline="") as file:
        assert {row["circuit"] for row in csv.DictReader(file)} == {HARD}

    assert shop("correct", "run", second, "circuit=").status == 0
    assert shop("run", "show", second, "--json").json["circuit"] is None
    assert shop("undo").status == 0
    assert shop("run", "show", second, "--json").json["circuit"] == HARD


def test_a_name_that_cannot_be_kept_is_refused_before_any_work(
    shop: Shop, write_log: LogWriter
) -> None:
    refused = shop("ingest", write_log(), "--engine", "E1", "--circuit", "T" * 65)
    assert refused.status == 1
    assert "is no name of a circuit" in " ".join(refused.err.split())
    assert shop("run", "list", "--json").json == []
