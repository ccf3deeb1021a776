"""The house keeps its shape: imports run one way, modules stay short, contracts stay written."""

from __future__ import annotations

import ast
import itertools
import re
import tomllib
from importlib.metadata import distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
LAYERS = [
    {"pipeline.cli", "pipeline.__main__"},
    {"pipeline.commands"},
    {"dashboard"},
    {"pipeline.report"},
    {"pipeline.views"},
    {"pipeline.demo"},
    {"pipeline.backup", "pipeline.exchange"},
    {"pipeline.cluster"},
    {"pipeline.backlog", "pipeline.watching"},
    {"pipeline.moves", "pipeline.verify"},
    {"pipeline.flow"},
    {"pipeline.intake", "pipeline.reading"},
    {
        "pipeline.assess",
        "pipeline.build_sheet",
        "pipeline.judging",
        "pipeline.mending",
        "pipeline.taking_apart",
    },
    {"pipeline.sensor_check"},
    {
        "pipeline.detect",
        "pipeline.ingest",
        "pipeline.outlook",
        "pipeline.sensors",
        "pipeline.teardown",
        "pipeline.totals",
    },
    {"pipeline.figures"},
    {"pipeline.damage"},
    {"pipeline.log_files"},
    {"pipeline.logbook", "pipeline.run_file"},
    {"pipeline.file_store"},
    {"pipeline.register"},
    {"pipeline.show"},
    {"pipeline.settings"},
    {"pipeline.finding", "pipeline.sensor_doubt", "pipeline.service"},
    {"pipeline.window"},
    {"pipeline.causes", "pipeline.event", "pipeline.exposure", "pipeline.running"},
    {
        "pipeline.circuit",
        "pipeline.csv_rows",
        "pipeline.dictionary",
        "pipeline.run",
        "pipeline.spec",
    },
    {"pipeline.conversion"},
    {"pipeline.catalogue"},
    {"pipeline.units"},
    {"pipeline.log_bytes", "pipeline.toml_text"},
    {"pipeline.errors"},
    {"schemas"},
]
"""Top to bottom; a module imports from its own part, or from layers below it."""
STAGES = next(layer for layer in LAYERS if "pipeline.ingest" in layer)


def modules() -> list[Path]:
    return sorted(
        path
        for package in ("pipeline", "dashboard", "schemas", "demo_logs")
        for path in (ROOT / package).rglob("*.py")
    )


def part_of(module: str) -> str:
    """The part of the house that a dotted name lies in: two levels in pipeline, else one."""
    names = module.split(".")
    return ".".join(names[:2]) if names[0] == "pipeline" else names[0]


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
    return {
        name
        for name in found
        if name.split(".")[0] in ("pipeline", "dashboard", "schemas", "demo_logs")
    }


def dotted(path: Path) -> str:
    names = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_run_downwards_only(path: Path) -> None:
    here = dotted(path)
    if here == "pipeline" or here.startswith("demo_logs"):
        return
    for name in imports_of(path):
        there = part_of(name)
        if there == part_of(here):
            continue
        assert layer_of(there) > layer_of(part_of(here)), f"{here} imports {name}, which lies above"


def test_stages_do_not_import_one_another() -> None:
    for path in modules():
        here = part_of(dotted(path))
        if here in STAGES:
            others = {part_of(name) for name in imports_of(path)} & STAGES - {here}
            assert not others, f"{dotted(path)} imports {others}"


def test_only_the_register_speaks_sql() -> None:
    for path in modules():
        if part_of(dotted(path)) == "pipeline.register":
            continue
        source = path.read_text(encoding="utf-8")
        assert "sqlalchemy" not in source, f"{dotted(path)} reaches for the database"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_modules_stay_readable_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_every_alias_means_one_channel() -> None:
    from pipeline.catalogue import channels

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
