"""The demo: one command from raw logs to a table, as the README shows it."""

from __future__ import annotations

from pathlib import Path

from shop import run

README = Path(__file__).parents[2] / "README.md"


def test_the_demo_ends_on_the_table_in_the_readme(tmp_path: Path) -> None:
    done = run("demo", tmp_path / "demo")
    assert done.status == 0, done.err
    table = done.out[done.out.index("Life used") :].splitlines()
    shown = README.read_text(encoding="utf-8")
    for line in table:
        assert line.rstrip() in shown, "the README's table is old: run the demo and paste it"
    assert "NB-01" in done.out
    assert run("--logbook", tmp_path / "demo", "check").status == 0


def test_a_demo_is_not_made_in_a_folder_in_use(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    done = run("demo", tmp_path)
    assert done.status == 1
    assert "is not an empty folder" in done.err
    assert (tmp_path / "notes.txt").read_text() == "mine"
