"""Laps and corners on the command line; a log without any says nothing of them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from lap_logs import log_of_laps
from shop import LogWriter, Shop


@pytest.fixture(scope="module")
def lapped(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A shop with one run of laps, over-revved in the second corner of each."""
    folder = tmp_path_factory.mktemp("lapped")
    shop = Shop(shutil.copytree(made_once, folder / "shop"))
    log = log_of_laps(folder / "a.csv", 1)
    done = shop("ingest", log, "--engine", "E1", "--circuit", "Old Quay")
    assert done.status == 0, done.err
    return shop


def flat(text: str) -> str:
    return " ".join(text.split())


def test_events_name_the_corner_and_in_how_many_laps(lapped: Shop) -> None:
    said = flat(lapped("events", "--kind", "over_rev").out)
    assert "lap 1, corner 2" in said
    assert "Old Quay. Over-rev: corner 2 in 4 of 4 laps." in said
    rows = lapped("events", "--kind", "over_rev", "--json").json
    assert {row["corner"] for row in rows if row["lap"] in (1, 2, 3, 4)} == {2}


def test_laps_are_listed_with_their_times(lapped: Shop) -> None:
    (run,) = lapped("run", "list", "--json").json
    said = flat(lapped("lap", "list", run["run_id"][:6]).out)
    assert "4 whole laps, the best 1:04." in said
    assert "found by what comes again in lateral acceleration" in said
    found = lapped("lap", "list", run["run_id"], "--json").json
    assert [lap["kind"] for lap in found["laps"]].count("lap") == 4


def test_corners_are_listed_and_named(lapped: Shop) -> None:
    assert "is called Chapel now" in lapped("corner", "name", "old quay", 2, "Chapel").out
    rows = lapped("corner", "list", "Old Quay", "--json").json
    named = {row["number"]: row["name"] for row in rows}
    assert named[2] == "Chapel"
    assert named[1] is None
    assert "corner 2 (Chapel) in 4 of 4 laps" in flat(lapped("corner", "list", "Old Quay").out)
    refused = lapped("corner", "name", "Old Quay", 30, "Nowhere")
    assert (refused.status, "has no corner 30" in refused.err) == (1, True)


def test_a_log_without_laps_says_nothing_of_them(shop: Shop, write_log: LogWriter) -> None:
    assert shop("ingest", write_log(), "--engine", "E1").status == 0
    assert "lap" not in shop("events").out
    (run,) = shop("run", "list", "--json").json
    assert "has no laps" in flat(shop("lap", "list", run["run_id"]).out)
    refused = shop("corner", "list", "Old Quay")
    assert (refused.status, "No run with laps was at Old Quay" in refused.err) == (1, True)


def test_a_change_is_recorded_and_its_effect_told(lapped: Shop) -> None:
    later = log_of_laps(lapped.folder.parent / "b.csv", 9, seed=9)
    assert lapped("ingest", later, "--engine", "E1", "--circuit", "Old Quay").status == 0
    said = lapped(
        *("change", "record", "E1", "rev limiter in the map"),
        *("--sort", "map", "--at", "2026-05-05"),
    )
    assert "Change 1 of E1" in said.out
    assert lapped("change", "list", "--json").json[0]["what"] == "rev limiter in the map"
    found = lapped("change", "effect", 1, "--json").json
    assert (found["per"], found["circuits"]) == ("lap", ["Old Quay"])
    assert found["kinds"]["over_rev"]["word"] == "cannot tell"
    assert found["kinds"]["over_rev"]["before"] == found["kinds"]["over_rev"]["after"] == 4
    assert "cannot tell" in lapped("change", "effect", 1).out
    assert (
        "no sort of change"
        in lapped(*("change", "record", "E1", "luck", "--sort", "luck", "--at", "2026-05-05")).err
    )


def test_runs_without_pressure_or_laps_do_not_compare(lapped: Shop) -> None:
    first, *_ = lapped("run", "list", "--json").json
    refused = lapped("compare", first["run_id"], first["run_id"])
    assert (refused.status, "Name two runs" in refused.err) == (1, True)


def test_the_outlook_counts_laps(lapped: Shop) -> None:
    said = lapped("outlook", "E1", "--laps", 12, "--circuit", "Old Quay", "--at", "2026-05-20")
    assert said.status == 0, said.err
    assert "12 laps are 3 runs: a usual one has 5 laps, in-lap and all." in flat(said.err)
    assert "after 3 runs" in flat(said.out)
    refused = lapped("outlook", "E1", "--laps", 5, "--circuit", "Elsewhere")
    assert (refused.status, "No run of E1 at Elsewhere has laps" in refused.err) == (1, True)
