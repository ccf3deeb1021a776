"""Commands are imported one by one, and all of them are there."""

from __future__ import annotations

import subprocess
import sys

import pytest
import typer.main

from babbitt.commands.cli import COMMANDS, app
from shop import run


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_says_what_it_does(name: str) -> None:
    told = run(name, "--help")
    assert told.status == 0
    assert f"babbitt {name} [OPTIONS]" in told.out
    assert len(typer.main.get_group(app).commands[name].get_short_help_str()) > 10


def test_the_help_lists_every_command_in_order() -> None:
    lines = run("--help").out.splitlines()
    listed = [line.split()[1] for line in lines if line.startswith("│ ") and line[2] != " "]
    assert [name for name in listed if name in COMMANDS] == list(COMMANDS)


def test_a_command_that_does_not_exist_is_told_with_the_nearest() -> None:
    told = run("totls")
    assert told.status == 2
    assert "Did you mean 'totals'?" in told.err


def test_what_other_commands_need_is_not_imported() -> None:
    """The damage model needs scipy, which takes longer to import than most commands to run."""
    code = (
        "import sys; from babbitt.commands.cli import _load; _load('totals'); print(*sys.modules)"
    )
    names = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True
    ).stdout.split()
    assert "babbitt.commands.totals" in names
    assert not {"scipy.optimize", "plotly", "dash", "PIL", "babbitt.commands.match"} & set(names)
