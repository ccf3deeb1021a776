"""A few failures of every job's disk; `make faults` makes hundreds."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import disk
import faults
import jobs
import pytest
import telling

TESTS = Path(__file__).parents[1]
NEEDS_LIBRARY = pytest.mark.skipif(bool(disk.missing()), reason=disk.missing())


def start(*words: object) -> subprocess.CompletedProcess[str]:
    """Run the script as `make faults` does."""
    paths = [TESTS, TESTS / "support"]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(map(str, paths))}
    return subprocess.run(
        [sys.executable, faults.__file__, *map(str, words)],
        env=environment,
        capture_output=True,
        text=True,
    )


@NEEDS_LIBRARY
def test_a_job_whose_disk_fails_says_so_and_loses_nothing() -> None:
    done = start("--times", 7)
    assert done.returncode == 0, done.stdout + done.stderr
    assert all(f"\n{name}" in done.stdout for name in jobs.JOBS)


@NEEDS_LIBRARY
def test_the_disk_fails_in_the_writes_of_every_library(tmp_path: Path) -> None:
    """Python, SQLite and Arrow are each refused; the library reaches no file elsewhere."""
    script = tmp_path / "refused.py"
    script.write_text(_REFUSED, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": str(Path(disk.__file__).parent)}
    done = subprocess.run(
        [sys.executable, script, tmp_path], env=environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["python", "sqlite", "arrow"]


_REFUSED = """
import errno, sqlite3, sys
from contextlib import closing
from pathlib import Path
import disk
if not disk.has_library():
    sys.exit(disk.again_with_library())
import pyarrow as pa
folder = Path(sys.argv[1])
failing, inner = disk.FailingDisk(), folder / "inner"
inner.mkdir()
def by_python(path): path.write_bytes(b"data")
def by_arrow(path):
    with pa.OSFile(str(path), "wb") as file: file.write(b"data")
def by_sqlite(path):
    with closing(sqlite3.connect(path)) as made: made.execute("CREATE TABLE t (x)")
for name, work in (("python", by_python), ("sqlite", by_sqlite), ("arrow", by_arrow)):
    with failing.failing(inner, 2, errno.ENOSPC, for_good=True):
        work(folder / name)
        assert failing.calls == 0
        try:
            work(inner / name)
        except (OSError, sqlite3.Error):
            print(name)
    assert failing.failed > 0
"""


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("record")
    jobs.JOBS["record"].prepare(folder)
    return folder


def test_the_harness_sees_what_is_told_as_done_and_is_not(before: Path) -> None:
    done = jobs.JOBS["record"]
    after = telling.tell(before) | {"findings": ["one that was not recorded"]}
    idle = jobs.Job("idle", done.prepare, lambda _: None, lambda _: [("totals",)])
    seen = faults.look(idle, before, after, contextlib.nullcontext(), "now", tidy=True)
    assert [each.partition(" differ")[0] for each in seen.lost] == [
        "told as done: findings",
        "after doing it again: findings",
    ]


def test_the_harness_sees_what_is_left_behind_and_what_is_no_sentence(before: Path) -> None:
    idle = jobs.Job("idle", lambda _: None, lambda _: None, lambda _: [("no-such-command",)])
    after = telling.tell(before)
    left = before / "book" / ".half.part"
    left.touch()
    seen = faults.look(idle, before, after, contextlib.nullcontext(), "now", tidy=True)
    left.unlink()
    assert seen.said
    assert "exit status 2" in seen.lost
    assert "left behind: .half.part" in seen.lost
