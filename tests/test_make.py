"""Whatever a target of the Makefile runs finds what it imports."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")
IMPORTS = re.findall(r"^IMPORTS := PYTHONPATH=(\S+)$", MAKEFILE, flags=re.MULTILINE)
SCRIPTS = re.findall(r"^\t\$\(IMPORTS\) \$\(BIN\)/python (?:-m )?(\S+)", MAKEFILE, re.MULTILINE)


def test_there_are_scripts() -> None:
    assert len(IMPORTS) == 1
    assert {"tests/robust/crash.py", "tests/fuzz/fuzzing.py"} < set(SCRIPTS)


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_finds_what_it_imports(script: str) -> None:
    if script.endswith("guided.py"):
        pytest.importorskip("atheris", reason="it has no wheels here")
    folder, module = os.path.split(script.removesuffix(".py"))
    where = [folder, *IMPORTS[0].split(":")] if folder else IMPORTS[0].split(":")
    asked = subprocess.run(
        [sys.executable, "-c", f"import {module}"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(where)},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert asked.returncode == 0, asked.stderr
