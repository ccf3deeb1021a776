"""Export, import, backup and restore on the command line."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from babbitt.commands.cli import main
from babbitt.logbook.folder import Logbook

PARTS = "part_id,kind,engine,fitted_at\nCR-1,crankshaft,E1,2026-02-01\nCR-2,crankshaft,,\n"


@dataclass(frozen=True)
class Result:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Command = Callable[..., Result]


@pytest.fixture
def babbitt(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run a command, as the console script does."""

    def run(*words: object) -> Result:
        monkeypatch.setattr(sys, "argv", ["babbitt", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        return Result(int(ended.value.code or 0), *capsys.readouterr())

    return run


def test_export_lists_what_it_wrote(babbitt: Command, full: Logbook, tmp_path: Path) -> None:
    done = babbitt("--logbook", full.root, "export", tmp_path / "out")
    assert done.status == 0, done.err
    assert "one harmful stretch of a run" in done.out
    assert (tmp_path / "out" / "event.csv").is_file()
    written = babbitt(
        "--logbook", full.root, "export", tmp_path / "more", "--format", "sqlite", "--json"
    ).json
    assert {"name": "run", "rows": 4, "files": ["babbitt.sqlite"]} in written
    assert sorted(path.name for path in (tmp_path / "more").iterdir()) == [
        "babbitt.sqlite",
        "dictionary.csv",
    ]


def test_import_shows_what_it_would_do_then_does_it_once(
    babbitt: Command, book: Logbook, tmp_path: Path
) -> None:
    (tmp_path / "parts.csv").write_text(PARTS, encoding="utf-8-sig")
    words = ("--logbook", book.root, "import", tmp_path / "parts.csv", "--what", "parts")
    dry = babbitt(*words, "--dry-run")
    assert dry.status == 0, dry.err
    assert "CR-1 fitted to E1   would be added" in dry.out
    assert "3 would be added, 0 there already." in dry.out
    assert [step["outcome"] for step in babbitt(*words, "--json").json] == ["added"] * 3
    assert "0 added, 3 there already." in babbitt(*words).out


def test_a_backup_restores_and_a_lost_run_is_told(
    babbitt: Command, full: Logbook, tmp_path: Path
) -> None:
    made = babbitt("--logbook", full.root, "backup", tmp_path / "b.tar", "--json")
    assert (made.status, made.json["missing"]) == (0, [])
    restored = babbitt("restore", tmp_path / "b.tar", tmp_path / "back")
    assert restored.status == 0, restored.err
    assert "3 runs checked; the logbook is whole" in " ".join(restored.out.split())
    lost = next((tmp_path / "back").rglob("*.parquet"))
    lost.unlink()
    partly = babbitt("--logbook", tmp_path / "back", "backup", tmp_path / "c.tar")
    assert partly.status == 1
    assert "is in the register but missing" in " ".join(partly.err.split())
    restored = babbitt("restore", tmp_path / "c.tar", tmp_path / "again")
    assert restored.status == 1
    assert "and not whole:" in restored.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("export", "{book}"), "is not an empty folder"),
        (("export", "{new}", "--engine", "E9"), "There is no engine 'E9'"),
        (("import", "{new}", "--what", "parts"), "No such file"),
        (("import", "{latin}", "--what", "parts"), "is no CSV in UTF-8 (byte 8)"),
        (("backup", "{latin}"), "is there already"),
        (("restore", "{latin}", "{new}"), "is no whole backup of a logbook"),
        (("restore", "{new}", "{new}"), "No such file"),
    ],
)
def test_bad_input_is_one_sentence(
    words: tuple[str, ...], says: str, babbitt: Command, book: Logbook, tmp_path: Path
) -> None:
    (tmp_path / "latin.csv").write_bytes("part_id,é".encode("latin-1"))
    places = {"book": book.root, "new": tmp_path / "new", "latin": tmp_path / "latin.csv"}
    done = babbitt("--logbook", book.root, *(word.format_map(places) for word in words))
    assert done.status == 1
    assert says in done.err
    assert all(option.startswith("  ") for option in done.err.splitlines()[1:])
    assert not (tmp_path / "new").exists()
