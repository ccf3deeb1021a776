"""The engine's record through the installed command: parts, teardowns, and mending them."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from shop import LogWriter, Shop


def run_path(shop: Shop, engine_id: str, run_id: str) -> Path:
    return shop.book / "runs" / f"engine={engine_id}" / f"{run_id}.parquet"


def test_a_part_is_carried_from_engine_to_shop_and_back(shop: Shop) -> None:
    shop("engine", "add", "E2", "--spec", shop.folder / "spec.toml")
    assert shop("part", "add", "CR-1", "--kind", "crankshaft").status == 0
    shop("part", "fit", "CR-1", "--engine", "E1", "--at", "2026-02-01")
    taken = shop("part", "fit", "CR-1", "--engine", "E2", "--at", "2026-03-01")
    assert taken.status == 1
    assert "E1" in taken.err
    assert shop("part", "remove", "CR-1", "--at", "2026-03-01").status == 0
    sent = shop(
        "part", "out", "CR-1", "--to", "the grinder", "--for", "check and polish",
        "--at", "2026-03-02", "--due", "2126-01-01",
    )  # fmt: skip
    assert sent.status == 0
    (place,) = shop("part", "list", "--json").json
    assert place["work"]["shop"] == "the grinder"
    assert "the grinder: check and polish" in shop("part", "list").out
    assert shop("part", "fit", "CR-1", "--engine", "E2", "--at", "2026-03-03").status == 1
    shop("part", "back", "CR-1", "--at", "2026-03-09", "--result", "polished")
    assert shop("part", "fit", "CR-1", "--engine", "E2", "--at", "2026-03-10").status == 0


def test_totals_by_part_are_those_of_the_engine_it_sat_in(shop: Shop, write_log: LogWriter) -> None:
    shop("part", "add", "CR-1", "--kind", "crankshaft")
    shop("part", "fit", "CR-1", "--engine", "E1", "--at", "2026-02-01")
    shop("ingest", write_log(), "--engine", "E1")
    (part,) = shop("totals", "E1", "--parts", "--json").json
    engine = shop.totals()
    assert part["part_id"] == "CR-1"
    assert part["revolutions"] == pytest.approx(engine["revolutions"])
    assert part["events"]["over_rev"]["dose"] == pytest.approx(engine["events"]["over_rev"]["dose"])


FINDINGS = """
[[finding]]
part = "rod_bearing"
position = "2"
damage_mode = "wiped"
grade = 3
measurement = {name = "clearance", value = 0.071, unit = "mm", low = 0.045, high = 0.065}
disposition = "replace"
photos = ["shell.png"]

[[finding]]
part = "rod_bearing"
position = "1"
grade = 0
disposition = "reuse"
"""


def test_a_teardown_is_recorded_with_its_photo(shop: Shop) -> None:
    file = shop.folder / "findings.toml"
    file.write_text(FINDINGS)
    missing = shop("teardown", "record", "E1", "--at", "2026-05-10", "--findings", file)
    assert missing.status == 1
    assert "shell.png" in missing.err
    Image.new("RGB", (64, 48), "grey").save(shop.folder / "shell.png")
    done = shop("teardown", "record", "E1", "--at", "2026-05-10", "--findings", file)
    assert done.status == 0, done.err
    wiped, sound = shop("teardown", "list", "E1", "--json").json
    assert wiped["finding"]["measurement"]["value"] == 0.071
    assert sound["finding"]["grade"] == 0
    assert len(list((shop.book / "photos").rglob("*.png"))) == 1
    assert shop("verify").status == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"rod_bearing"', '"rod_baering"', "rod_bearing"),
        ('"wiped"', '"wipped"', "wiped"),
        (', unit = "mm"', "", "unit"),
        ("grade = 3", "grade = 7", "grade"),
        ('position = "2"', 'position = "9"', "no cylinder 9"),
    ],
)
def test_a_finding_that_cannot_be_is_refused_whole(
    old: str, new: str, words: str, shop: Shop
) -> None:
    Image.new("RGB", (64, 48), "grey").save(shop.folder / "shell.png")
    file = shop.folder / "findings.toml"
    file.write_text(FINDINGS.replace(old, new, 1))
    result = shop("teardown", "record", "E1", "--at", "2026-05-10", "--findings", file)
    assert result.status == 1
    assert words in result.err
    assert result.err.count("\n") == 1
    assert shop("teardown", "list", "--json").json == []
    assert not (shop.book / "photos").exists() or not list((shop.book / "photos").rglob("*.*"))


def test_a_teardown_before_the_refresh_is_refused(shop: Shop) -> None:
    shop("engine", "refresh", "E1", "--at", "2026-05-01")
    file = shop.folder / "findings.toml"
    file.write_text(FINDINGS.replace('photos = ["shell.png"]', ""))
    result = shop("teardown", "record", "E1", "--at", "2026-04-01", "--findings", file)
    assert result.status == 1
    assert "before the refresh" in result.err


def test_a_refresh_can_be_moved_and_the_move_undone(shop: Shop, write_log: LogWriter) -> None:
    shop("ingest", write_log(start="2026-05-03T10:00:00Z"), "--engine", "E1")
    shop("engine", "refresh", "E1", "--at", "2026-05-10")
    assert shop.totals()["runs"] == 0
    (entry, *_) = shop("journal", "E1", "--json").json
    number = entry["changes"][0]["id"]
    moved = shop("correct", "refresh", number, "at=2026-05-01", "--note", "wrong week")
    assert moved.status == 0, moved.err
    assert "E1: 1 runs" in moved.out
    assert "it was 0 runs" in moved.out
    assert shop.totals()["runs"] == 1
    assert "wrong week" in shop("journal", "E1").out
    assert shop("undo", "E1").status == 0
    assert shop.totals()["runs"] == 0
    assert shop("redo", "E1").status == 0
    assert shop.totals()["runs"] == 1
    assert shop("withdraw", "refresh", number).status == 0
    assert shop.totals()["since"].startswith("2026-01-01")


def test_undoing_an_assignment_takes_the_file_back(shop: Shop, write_log: LogWriter) -> None:
    (intake,) = shop("ingest", write_log(), "--engine", "E1", "--json").json
    run_id = intake["run_id"]
    shop("engine", "add", "E2", "--spec", shop.folder / "spec.toml")
    shop("run", "assign", run_id, "--engine", "E2")
    assert run_path(shop, "E2", run_id).exists()
    assert not run_path(shop, "E1", run_id).exists()
    assert shop("undo").status == 0
    assert run_path(shop, "E1", run_id).exists()
    assert not run_path(shop, "E2", run_id).exists()
    assert shop.totals()["events"]["over_rev"]["count"] == 1
    assert shop("verify").status == 0


SHEET = """
[[line]]
part = "rod_bearing"
position = "2"
action = "replaced"
[[measurement]]
part = "rod_bearing"
position = "2"
name = "clearance"
value = 0.051
unit = "mm"
low = 0.045
high = 0.065
"""


def test_a_build_is_compared_with_the_one_before(shop: Shop) -> None:
    sheet = shop.folder / "sheet.toml"
    sheet.write_text(SHEET)
    shop("engine", "refresh", "E1", "--at", "2026-02-01", "--sheet", sheet)
    sheet.write_text(SHEET.replace("0.051", "0.071"))
    shop("engine", "refresh", "E1", "--at", "2026-05-01", "--sheet", sheet)
    (row,) = shop("engine", "sheet", "E1", "--json").json
    assert row["change"] == pytest.approx(0.020)
    assert "outside its tolerance" in shop("engine", "sheet", "E1").out
    (entry, *_) = shop("journal", "E1", "--json").json
    number = next(c["id"] for c in entry["changes"] if c["record"] == "built_measurement")
    assert shop("correct", "built_measurement", number, "value=0.052").status == 0
    (row,) = shop("engine", "sheet", "E1", "--json").json
    assert row["change"] == pytest.approx(0.001)
    assert shop("correct", "built_measurement", number, "value=54.996").status == 0
    assert "54.996" in shop("engine", "sheet", "E1").out
    line = next(c["id"] for c in entry["changes"] if c["record"] == "sheet_line")
    assert shop("correct", "sheet_line", line, "action=reused").status == 0
    assert shop("withdraw", "sheet_line", line).status == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"replaced"', '"swapped"', "line.1.action"),
        ('unit = "mm"', "", "measurement.1.unit"),
        ('"rod_bearing"', '"rod_baering"', "rod_bearing"),
        ("[[line]]", "[[line]", "is not TOML"),
    ],
)
def test_a_build_sheet_that_cannot_be_is_refused_whole(
    old: str, new: str, words: str, shop: Shop
) -> None:
    sheet = shop.folder / "sheet.toml"
    sheet.write_text(SHEET.replace(old, new, 1))
    result = shop("engine", "refresh", "E1", "--at", "2026-02-01", "--sheet", sheet)
    assert result.status == 1
    assert words in result.err
    assert shop.totals()["since"].startswith("2026-01-01")


def test_one_change_among_later_ones_is_undone(shop: Shop) -> None:
    shop("part", "add", "CR-1", "--kind", "crankshaft")
    (entry,) = [e for e in shop("journal", "--json").json if "CR-1" in e["sentence"]]
    shop("part", "add", "CR-2", "--kind", "crankshaft")
    assert shop("undo", "--entry", entry["entry"]).status == 0
    assert [place["part"]["part_id"] for place in shop("part", "list", "--json").json] == ["CR-2"]


def test_what_cannot_be_mended_is_said(shop: Shop) -> None:
    assert shop("undo", "E9").status == 1
    assert shop("correct", "gasket", "1", "at=2026-01-01").status == 2
    assert shop("correct", "refresh", "one", "at=2026-01-01").status == 2
    assert shop("correct", "refresh", "1", "colour=red").status == 2
    for record, change in (
        ("refresh", "at=2026-02-01"),
        ("finding", "grade=2"),
        ("sheet_line", "action=reused"),
        ("built_measurement", "value=1"),
    ):
        nothing = shop("correct", record, "77", change)
        assert nothing.status == 1
        assert nothing.err.count("\n") == 1
