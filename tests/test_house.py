"""The house keeps its shape: imports run one way, modules stay short, contracts stay written."""

from __future__ import annotations

import ast
import itertools
import re
import tomllib
from collections.abc import Iterator
from graphlib import TopologicalSorter as CycleCheck
from importlib.metadata import distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
LAYERS = [
    {"babbitt.commands", "babbitt._door"},
    {"babbitt_dashboard"},
    {"babbitt.present"},
    {"babbitt.jobs"},
    {"babbitt.exchange"},
    {"babbitt.outlook", "babbitt.teardown"},
    {"babbitt.damage"},
    {"babbitt.detect", "babbitt.ingest", "babbitt.laps", "babbitt.sensors", "babbitt.totals"},
    {"babbitt.logbook"},
    {"babbitt.register"},
    {"babbitt.logbook.settings"},
    {"babbitt.model"},
    {"babbitt.errors"},
]
"""Top to bottom; a module imports from its own part, or from layers below it."""
SOURCES = {"babbitt": ROOT / "pipeline", "babbitt_dashboard": ROOT / "dashboard"}


def modules() -> list[Path]:
    return sorted(
        path for package, root in SOURCES.items() for path in (root / package).rglob("*.py")
    )


def part_of(module: str) -> str:
    """The part of the house that a dotted name lies in: a package of babbitt, or the dashboard."""
    if module.startswith("babbitt.logbook.settings"):
        return "babbitt.logbook.settings"
    names = module.split(".")
    return ".".join(names[:2]) if names[0] == "babbitt" else names[0]


def layer_of(part: str) -> int:
    for depth, layer in enumerate(LAYERS):
        if part in layer:
            return depth
    raise AssertionError(f"{part} has no place in the house: add it to LAYERS")


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return {name for name in found if name.split(".")[0] in SOURCES}


def dotted(path: Path) -> str:
    root = next(root for root in SOURCES.values() if root in path.parents)
    names = path.relative_to(root).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_run_downwards_only(path: Path) -> None:
    here = dotted(path)
    if here == "babbitt":
        return
    for name in imports_of(path):
        there = part_of(name)
        if there == part_of(here):
            continue
        assert layer_of(there) > layer_of(part_of(here)), f"{here} imports {name}, which lies above"


def test_only_the_register_speaks_sql() -> None:
    for path in modules():
        if part_of(dotted(path)) == "babbitt.register":
            continue
        source = path.read_text(encoding="utf-8")
        assert "sqlalchemy" not in source, f"{dotted(path)} reaches for the database"


BELOW_WORDS = {
    f"babbitt.{name}"
    for name in (
        *(
            "model",
            "ingest",
            "sensors",
            "laps",
            "detect",
            "totals",
            "damage",
            "outlook",
            "teardown",
        ),
        *("logbook", "logbook.settings", "register", "exchange"),
    )
}
"""Parts that hand out values: words, commands and pages are made above them."""
SPELLS_A_COMMAND = re.compile(r"`babbitt |(?<![\w-])--[a-z]{3,}")


def literals_of(path: Path) -> Iterator[str]:
    """Strings of a module, but for its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    told = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
            yield node.value


def test_stages_hand_out_values_and_know_no_terminal() -> None:
    for path in modules():
        if part_of(dotted(path)) in BELOW_WORDS:
            source = path.read_text(encoding="utf-8")
            found = re.findall(r"^\s*(?:from|import) (rich|typer|dash)\b", source, re.MULTILINE)
            assert not found, f"{dotted(path)} imports {found}"


def test_stages_spell_no_command() -> None:
    found = {
        dotted(path)
        for path in modules()
        if part_of(dotted(path)) in BELOW_WORDS
        and any(SPELLS_A_COMMAND.search(text) for text in literals_of(path))
    }
    assert not found


def test_no_modules_import_one_another_in_a_circle() -> None:
    names = {dotted(path) for path in modules()}
    graph = {
        dotted(path): {
            there if there in names else there.rpartition(".")[0] for there in imports_of(path)
        }
        & names
        for path in modules()
    }
    CycleCheck(graph).prepare()


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_modules_stay_readable_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 600


def test_every_alias_means_one_channel() -> None:
    from babbitt.model.channels import channels

    owners: dict[str, str] = {}
    for channel in channels().values():
        for alias in (*channel.aliases, *channel.absolute_aliases):
            key = "".join(alias.casefold().split())
            assert owners.setdefault(key, channel.name) == channel.name, alias


def test_lock_files_carry_versions_and_hashes_but_no_addresses() -> None:
    for name in ("requirements.lock", "requirements-dev.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert "://" not in text
        assert "--hash=sha256:" in text


def test_lock_files_hold_every_dependency_of_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = {
        "requirements.lock": project["dependencies"],
        "requirements-dev.lock": list(
            itertools.chain(project["dependencies"], *project["optional-dependencies"].values())
        ),
    }
    for name, requirements in wanted.items():
        locked = {
            re.split(r"==|\[", line)[0]
            for line in (ROOT / name).read_text(encoding="utf-8").splitlines()
            if "==" in line
        }
        assert {re.split(r"\W*>=|\[", text)[0] for text in requirements} <= locked


def test_lock_files_pin_what_is_asked_for_with_extras() -> None:
    """A requirement with extras whose pin lacks them takes the newest release, and is refused."""
    text = (ROOT / "requirements-dev.lock").read_text(encoding="utf-8")
    pinned = {line.split("==")[0] for line in text.splitlines() if "==" in line}
    names = {canonicalize_name(name.split("[")[0]) for name in pinned}
    asked = [
        (distribution.metadata["Name"], requirement)
        for distribution in distributions()
        if canonicalize_name(distribution.metadata["Name"]) in names
        for requirement in map(Requirement, distribution.requires or [])
        if requirement.extras and (requirement.marker is None or requirement.marker.evaluate())
    ]
    assert asked
    for by, requirement in asked:
        name = canonicalize_name(requirement.name)
        assert any(pin.startswith(f"{name}[") for pin in pinned), f"{by} asks for {requirement}"
