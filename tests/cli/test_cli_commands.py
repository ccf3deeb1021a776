"""Commands are imported one by one, and all of them are there."""

from __future__ import annotations

import shlex
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
import typer.main

from babbitt.commands.cli import COMMANDS, ONCE, app
from babbitt.commands.help_pages import EXAMPLES, HEADINGS
from shop import Shop, run

ROOT = Path(__file__).parents[2]


def commands() -> dict[str, Any]:
    """Every command that does something, by its path."""
    found: dict[str, Any] = {}
    for name in COMMANDS:
        command = typer.main.get_group(app).commands[name]
        below = getattr(command, "commands", None)
        if below:
            found |= {f"{name} {each}": below[each] for each in below}
        else:
            found[name] = command
    return found


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_says_what_it_does(name: str) -> None:
    told = run(name, "--help")
    assert told.status == 0
    assert f"babbitt {name} [OPTIONS]" in told.out
    assert len(typer.main.get_group(app).commands[name].get_short_help_str()) > 10


def test_the_help_lists_every_command_under_a_heading_and_needs_none_of_them() -> None:
    told = run("--help").out
    listed = [line.split()[0] for line in told.splitlines() if line.startswith("  ")]
    assert [name for name in listed if name in COMMANDS] == list(COMMANDS)
    assert [name for commands in HEADINGS.values() for name in commands] == list(COMMANDS)
    assert all(f"{heading}:" in told for heading in HEADINGS)
    assert not {"sqlalchemy", "pydantic", "numpy"} & modules_after("--help")


def test_every_command_has_an_example() -> None:
    assert sorted(EXAMPLES) == sorted(commands())


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_one_that_the_command_takes(name: str) -> None:
    words = shlex.split(EXAMPLES[name])
    path = name.split()
    assert words[: 1 + len(path)] == ["babbitt", *path]
    commands()[name].make_context(name, words[1 + len(path) :], resilient_parsing=False)
    assert EXAMPLES[name] in run(*path, "--help").out


def test_a_command_that_does_not_exist_is_told_with_the_nearest() -> None:
    told = run("totls")
    assert told.status == 2
    assert "Did you mean 'totals'?" in told.err


@pytest.mark.parametrize("once", ONCE)
def test_a_command_that_has_another_name_now_is_told(once: str) -> None:
    told = run(once)
    assert told.status == 2
    assert f"is called {ONCE[once]} now" in told.err
    assert ONCE[once] in COMMANDS


def test_the_version_is_that_of_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert run("--version").out == f"babbitt {project['version']}\n"


def modules_after(*words: object) -> set[str]:
    """Modules that a command imported, in a process of its own."""
    code = (
        "import sys, contextlib, io\n"
        "from babbitt.commands.cli import main\n"
        f"sys.argv = {['babbitt', *map(str, words)]!r}\n"
        "with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):\n"
        "    main()\n"
        "print(*sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return set(ran.stdout.split())


@pytest.mark.parametrize(
    "words", [("engine", "list"), ("totals", "E1"), ("events",), ("part", "list"), ("journal",)]
)
def test_a_short_command_imports_nothing_heavy(shop: Shop, words: tuple[str, ...]) -> None:
    """Each of these takes longer to import than the command takes to run."""
    found = modules_after("--logbook", shop.book, *words)
    heavy = {"numpy", "pyarrow", "scipy", "pandas", "alembic", "plotly", "dash", "PIL"}
    assert not heavy & found
    assert "sqlalchemy" in found
