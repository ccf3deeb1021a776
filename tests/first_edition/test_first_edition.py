"""A logbook and a backup of the first edition open with nothing lost.

Both, and what the first edition said of them, were made by its own command line
(make_first_edition.sh beside this file).
"""

from __future__ import annotations

import json
import lzma
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from babbitt.model.kinds import KINDS
from shop import Result, run

HERE = Path(__file__).parent
ANSWERS = json.loads(lzma.decompress((HERE / "first_edition_answers.json.xz").read_bytes()))
RENAMED = {"crank_journal": "main_journal", "heat_marked": "blued"}
ENDS = {"exhaust": "turbine", "intake": "compressor"}

Ask = Callable[..., Result]


def named_today(value: Any) -> Any:
    """What the first edition said, with the parts and modes that have other names now."""
    if isinstance(value, list):
        return [named_today(each) for each in value]
    if isinstance(value, dict):
        renamed = {name: named_today(each) for name, each in value.items()}
        kind = value.get("part") or value.get("kind")
        if kind == "turbo_bearing" and value.get("position") in ENDS:
            renamed["position"] = ENDS[value["position"]]
        return renamed
    return RENAMED.get(value, value) if isinstance(value, str) else value


@pytest.fixture(scope="module", params=["logbook", "backup"])
def ask(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Ask:
    """Ask about the logbook as it was, or as its backup restores it."""
    folder = tmp_path_factory.mktemp(request.param)
    book = folder / "book"
    if request.param == "logbook":
        with tarfile.open(HERE / "first_edition_logbook.tar.xz") as packed:
            packed.extractall(folder, filter="data")
    else:
        packed_backup = folder / "backup.tar"
        backup = lzma.decompress((HERE / "first_edition_backup.tar.xz").read_bytes())
        packed_backup.write_bytes(backup)
        restored = run("restore", packed_backup, book)
        assert restored.status == 0, restored.err

    def ask(*words: object) -> Result:
        return run("--logbook", book, *words)

    return ask


def without(rows: list[dict[str, Any]], *names: str) -> list[dict[str, Any]]:
    return [{name: value for name, value in row.items() if name not in names} for row in rows]


def by_part(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Rows by serial: they are listed by kind, and one kind has another name now."""
    return {str(row.get("part_id") or row["part"]["part_id"]): row for row in rows}


def test_the_logbook_is_whole(ask: Ask) -> None:
    checked = ask("verify", "--json")
    assert checked.status == 0, checked.err


def test_every_run_is_there(ask: Ask) -> None:
    found = ask("run", "list", "--json").json
    assert without(found, "judged_by") == without(ANSWERS["run list"], "judged_by")


def test_every_event_and_review_is_there(ask: Ask) -> None:
    found = ask("events", "--json").json
    new = ("confidence", "direction", "lap", "corner", "spec_version", "dose")
    assert without(found, *new) == without(ANSWERS["events"], *new)
    for now, before in zip(found, ANSWERS["events"], strict=True):
        level, _, said = before["confidence"].partition(": ")
        assert now["confidence"]["level"] == level
        assert len(now["confidence"]["reasons"]) == len(said.split("; ") if said else [])


def but_doses(rows: Any) -> Any:
    """Totals without what another detector makes of the same events, and its new kinds."""
    if isinstance(rows, list):
        return [but_doses(each) for each in rows]
    if not isinstance(rows, dict):
        return rows
    anew = (
        *("dose", "used", "limit", "stale", "dry_start", "spec_version"),
        *("rod_fatigue_s", "spring_fatigue_s", "watched_s", "watched_share"),
    )
    if rows.get("measure") in KINDS:  # a service limit of a dose
        anew = (*anew, "share")
    return {name: but_doses(each) for name, each in rows.items() if name not in anew}


def test_totals_are_what_they_were(ask: Ask) -> None:
    told = {row["engine_id"]: row for row in ANSWERS["totals"]}
    for row in ask("totals", "--json").json:
        assert but_doses(row) == but_doses(told[row["engine_id"]])


@pytest.mark.parametrize("engine", ["NB-01", "NB-02"])
def test_totals_by_part_are_what_they_were(ask: Ask, engine: str) -> None:
    asked = f"totals {engine} --parts"
    found = ask("totals", engine, "--parts", "--json").json
    assert by_part(but_doses(found)) == by_part(but_doses(named_today(ANSWERS[asked])))


@pytest.mark.parametrize("engine", ["NB-01", "NB-02"])
def test_every_finding_is_there(ask: Ask, engine: str) -> None:
    found = ask("teardown", "list", engine, "--json").json
    assert found == named_today(ANSWERS[f"teardown list {engine}"])


def test_every_part_is_there(ask: Ask) -> None:
    found = ask("part", "list", "--json").json
    assert by_part(found) == by_part(named_today(ANSWERS["part list"]))


def test_the_build_sheet_is_there(ask: Ask) -> None:
    sheet = ask("engine", "sheet", "NB-02", "--json").json
    assert sheet == named_today(ANSWERS["engine sheet NB-02"])


def test_the_refused_log_is_there(ask: Ask) -> None:
    told = ("sha256", "file", "engine_id", "at", "set_aside_at")
    found = ask("refused", "list", "--json").json
    assert [{name: row[name] for name in told} for row in found] == [
        {name: row[name] for name in told} for row in ANSWERS["log refused"]
    ]


def test_every_act_is_in_the_journal(ask: Ask) -> None:
    before = named_today(ANSWERS["journal"])
    after = [row for row in ask("journal", "--json").json if row["entry"] <= len(before)]
    told = ("sentence", "changes")  # the words of today
    assert without(after, *told) == without(before, *told)
    for new, old in zip(after, before, strict=True):
        assert len(new["changes"]) == len(old["changes"])


@pytest.mark.parametrize("engine", ["NB-01", "NB-02"])
def test_the_outlook_can_be_asked(ask: Ask, engine: str) -> None:
    (outlook,) = ask("outlook", engine, "--json").json
    assert outlook["call"] in ("run on", "inspect", "pull")


def test_what_the_first_edition_did_can_be_undone_and_redone(ask: Ask) -> None:
    findings = ask("teardown", "list", "NB-02", "--json").json
    (entry,) = [
        each["entry"]
        for each in ANSWERS["journal"]
        if each["reason"] == "written down twice" and not each["undone"]
    ]
    back = ask("undo", "--entry", entry)
    assert back.status == 0, back.err
    assert len(ask("teardown", "list", "NB-02", "--json").json) == len(findings) + 1
    assert ask("redo").status == 0
    assert ask("teardown", "list", "NB-02", "--json").json == findings
