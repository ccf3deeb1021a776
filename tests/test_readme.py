"""What the README tells people to type exists."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import duckdb
import pytest
import typer.main

from babbitt.commands.cli import app
from babbitt.exchange.export import export
from babbitt.jobs.demo import run_demo
from babbitt.logbook.folder import open_logbook

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def told() -> list[str]:
    """Every command line that the README shows, in blocks and in running text."""
    blocks = re.findall(r"^(?:\.venv\\Scripts\\)?babbitt .*$", README, flags=re.MULTILINE)
    inline = re.findall(r"`(babbitt [^`]+)`", README)
    return sorted(
        {line.split("  #")[0].removeprefix(".venv\\Scripts\\") for line in blocks + inline}
    )


def test_the_readme_shows_commands() -> None:
    assert len(told()) > 10


@pytest.mark.parametrize("line", told())
def test_a_command_in_the_readme_exists_with_its_options(line: str) -> None:
    command: Any = typer.main.get_command(app)
    known = {option for parameter in command.params for option in parameter.opts}
    for word in shlex.split(line)[1:]:
        if word in getattr(command, "commands", {}):
            command = command.commands[word]
            known |= {option for parameter in command.params for option in parameter.opts}
        elif word.startswith("--"):
            assert word in known | {"--install-completion"}, word
    assert not hasattr(command, "commands") or "--" in line, f"{line} names no command"


QUERIES = re.findall(r"^```sql\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's logbook, with an export in it."""
    folder = tmp_path_factory.mktemp("queried") / "book"
    run_demo(folder)
    export(open_logbook(folder), folder / "out", format="parquet")
    return folder


@pytest.mark.parametrize("query", QUERIES)
def test_a_query_in_the_readme_has_answers(
    query: str, demo_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(demo_book)
    with duckdb.connect() as connection:
        answers = connection.execute(query).fetchall()
    assert len(QUERIES) == 3
    assert len(answers) >= 3
    assert all(value is not None for value in answers[0])


@pytest.mark.parametrize("target", re.findall(r"^make ([a-z-]+)", README, flags=re.MULTILINE))
def test_a_make_target_in_the_readme_exists(target: str) -> None:
    assert re.search(rf"^{target}:", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)


@pytest.mark.parametrize("name", re.findall(r"\]\(([^)#]+)\)", README))
def test_a_file_that_the_readme_links_to_is_there(name: str) -> None:
    assert (ROOT / name).exists()
