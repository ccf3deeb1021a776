"""Put deliberate faults into a copy of the program, one at a time, and see which tests catch them.

`make mutate` runs this and writes docs/mutations.md. The published checks alone must catch nine in
ten; where they miss one, the tests beside it must catch it. A fault whose text is not found once
is out of date, and counts as missed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from faults import FAULTS, Fault

ROOT = Path(__file__).parents[2]
PUBLISHED = "tests/published"
LEAST_PUBLISHED = 0.9
_COPIED = ("pipeline", "dashboard", "schemas", "demo_logs", "tests", "pyproject.toml", "README.md")


@dataclass(frozen=True)
class Caught:
    """What caught a fault.

    Attributes:
        fault: that was put in.
        by_published: whether a published check failed.
        by_any: whether that or a test beside it did.
    """

    fault: Fault
    by_published: bool
    by_any: bool


def main() -> int:
    """Try every fault, write the table, and return 1 where too many were missed."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--table", type=Path, help="write the table here")
    ask.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    asked = ask.parse_args()
    with tempfile.TemporaryDirectory(prefix="babbitt-mutants-") as folder:
        copies: SimpleQueue[Path] = SimpleQueue()
        for number in range(asked.jobs):
            copies.put(_copied(Path(folder) / str(number)))
        whole = copies.get()
        everything = sorted({PUBLISHED, *(each for fault in FAULTS for each in fault.tests)})
        if _fails(whole, everything):
            print("The tests fail without any fault; mend that first.")
            return 1
        copies.put(whole)
        with ThreadPoolExecutor(asked.jobs) as pool:
            found = list(pool.map(lambda fault: _tried(fault, copies), FAULTS))
    table = _table(found)
    print(table)
    if asked.table:
        asked.table.write_text(table, encoding="utf-8")
    published = sum(each.by_published for each in found)
    good = published >= LEAST_PUBLISHED * len(found) and all(each.by_any for each in found)
    return 0 if good else 1


def _copied(folder: Path) -> Path:
    folder.mkdir()
    for name in _COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(source, folder / name)
    return folder


def _tried(fault: Fault, copies: SimpleQueue[Path]) -> Caught:
    """Put a fault into a copy that nobody uses, and run the tests on it."""
    copy = copies.get()
    file = copy / fault.file
    sound = file.read_text(encoding="utf-8")
    try:
        if sound.count(fault.sound) != 1:
            print(f"out of date: {fault.says}", file=sys.stderr)
            return Caught(fault, by_published=False, by_any=False)
        file.write_text(sound.replace(fault.sound, fault.faulty), encoding="utf-8")
        by_published = _fails(copy, [PUBLISHED])
        by_any = by_published or _fails(copy, fault.tests)
    finally:
        file.write_text(sound, encoding="utf-8")
        copies.put(copy)
    print(f"{'published' if by_published else 'others' if by_any else 'MISSED'}: {fault.says}")
    return Caught(fault, by_published, by_any)


def _fails(copy: Path, tests: Sequence[str]) -> bool:
    imports = [copy / "pipeline", copy / "dashboard", copy, copy / "tests/support"]
    asked = subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "-p", "no:cacheprovider", *tests],
        cwd=copy,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(map(str, imports)),
            "PYTHONDONTWRITEBYTECODE": "1",
        },
        capture_output=True,
        check=False,
    )
    return asked.returncode != 0


def _table(found: Sequence[Caught]) -> str:
    published = sum(each.by_published for each in found)
    any_ = sum(each.by_any for each in found)
    lines = [
        "# Deliberate faults, and what catches them",
        "",
        "`make mutate` writes this: each fault is put into a copy of the program by itself.",
        f"Of {len(found)}, the published checks alone catch {published}, all tests {any_}.",
        "",
        "| fault | in | published checks | all tests |",
        "| --- | --- | --- | --- |",
    ]
    for each in found:
        lines.append(
            f"| {each.fault.says} | `{each.fault.file}` | "
            f"{'caught' if each.by_published else 'missed'} | "
            f"{'caught' if each.by_any else 'missed'} |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
