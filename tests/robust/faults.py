"""Let the disk fail at random moments, again and again, and see that nothing is lost.

`make faults` runs this: the commands of the crash harness's jobs are typed while the disk becomes
full, has one bad spot or dies at a random call of theirs. Each must end in one sentence, or be done
all the same; the logbook must be whole, and once the disk is well again, repeating the commands
must lead to what the logbook tells where no disk ever failed.
"""

from __future__ import annotations

import argparse
import errno
import itertools
import random
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import disk
import jobs
from telling import differences, doubles, faults_of, is_aside, tell

from babbitt.errors import BabbittError
from shop import Result, run

KINDS = {
    "full": (errno.ENOSPC, True),
    "bad spot": (errno.EIO, False),
    "dead": (errno.EIO, True),
}
"""What the calls of a failing disk answer, and whether all later ones fail as well."""

_NOT_A_SENTENCE = re.compile(r"Traceback|Exception|Warning|\[Errno|Error\b")
_SMALL = "no room"
_SIZE = 16 << 20
"""Bytes of a disk in memory; more than any of the jobs needs."""


@dataclass(frozen=True)
class Spoilt:
    """What became of commands whose disk failed.

    Attributes:
        when: the kind of failure, and the call that failed first.
        hit: a call failed.
        said: the command ended in a sentence, and not as done.
        lost: what was there before or must be there after and is not, and what was told badly.
        twice: what counts twice.
    """

    when: str
    hit: bool
    said: bool
    lost: tuple[str, ...]
    twice: tuple[str, ...]


def type_all(typed: Sequence[jobs.Words], folder: Path) -> Result:
    """Type commands until one is refused; return what the last one told."""
    for words in typed:
        result = run("--logbook", folder / "book", *words, cwd=folder)
        if result.status:
            break
    return result


def spoil(
    failing: disk.FailingDisk,
    job: jobs.Job,
    before: Path,
    after: dict[str, Any],
    kind: str,
    nth: int,
) -> Spoilt:
    """Type the commands of a job while the disk fails, look, do the job again, look again.

    Args:
        failing: makes the disk fail.
        job: to be spoilt.
        before: the folder it works in, as it was.
        after: what the folder tells where no disk failed.
        kind: of failure, one of KINDS.
        nth: the call that fails first.
    """
    error, for_good = KINDS[kind]
    with tempfile.TemporaryDirectory() as scratch:
        folder = shutil.copytree(before, Path(scratch) / "shop")
        trouble = failing.failing(folder, nth, error, for_good=for_good)
        found = look(job, folder, after, trouble, f"{kind} at call {nth}", tidy=kind == "full")
    return replace(found, hit=failing.failed > 0)


def fill(job: jobs.Job, before: Path, after: dict[str, Any], mount: Path, room: int) -> Spoilt:
    """Type the commands of a job on a real disk that has only so much room, as `spoil` does.

    Args:
        job: to be spoilt.
        before: the folder it works in, as it was.
        after: what the folder tells where no disk was full.
        mount: a small disk, empty.
        room: on it, bytes.
    """
    folder = shutil.copytree(before, mount / "shop")
    found = look(job, folder, after, _only(room, mount), f"{room:,} bytes left", tidy=True)
    shutil.rmtree(folder)
    return found


@contextmanager
def _only(room: int, mount: Path) -> Iterator[None]:
    """Leave only so much room on a disk while the block lasts."""
    ballast = mount / "ballast"
    ballast.write_bytes(bytes(max(shutil.disk_usage(mount).free - room, 0)))
    try:
        yield
    finally:
        ballast.unlink()


def look(
    job: jobs.Job,
    folder: Path,
    after: dict[str, Any],
    trouble: AbstractContextManager[None],
    when: str,
    *,
    tidy: bool,
) -> Spoilt:
    """Type the commands of a job in trouble, look, do the job again, look again.

    Args:
        job: to be spoilt.
        folder: it works in.
        after: what the folder tells where there was no trouble.
        trouble: is there while the block lasts.
        when: the trouble came, in words.
        tidy: files can still be deleted, so that nothing half-written may be left.
    """
    typed = job.typed(folder)
    with trouble:
        result = type_all(typed, folder)
    lost = list(_badly_told(result))
    if tidy:
        lost += [f"left behind: {path.name}" for path in folder.rglob("*") if is_aside(path)]
    lost += [f"after the failure: {fault}" for fault in faults_of(folder)]
    if result.status == 0:
        lost += [f"told as done: {each} {result.err}" for each in differences(tell(folder), after)]
    try:
        job.work(folder)
    except BabbittError as error:
        lost.append(f"cannot be repeated: {error}")
    told = tell(folder)
    lost += [f"after doing it again: {fault}" for fault in faults_of(folder)]
    lost += [f"after doing it again: {each}" for each in differences(told, after)]
    return Spoilt(when, True, result.status != 0, tuple(lost), doubles(told))


def _badly_told(result: Result) -> Iterator[str]:
    """Yield what of a failed command's answer is not for a person to read."""
    if result.status not in (0, 1):
        yield f"exit status {result.status}"
    lines = [line for line in result.err.splitlines() if "the same with" not in line]
    said = " ".join(" ".join(lines).split())
    if result.status == 1 and not said.endswith("."):
        yield f"no sentence: {said!r}"
    if _NOT_A_SENTENCE.search(said):
        yield f"not for a person: {said!r}"


def usual(
    failing: disk.FailingDisk, job: jobs.Job, before: Path
) -> tuple[int, int, dict[str, Any]]:
    """Type the commands of a job on a disk that does not fail.

    Returns:
        How many calls change files, how many bytes lie on the disk then, and what the logbook
        tells.
    """
    with tempfile.TemporaryDirectory() as scratch:
        folder = shutil.copytree(before, Path(scratch) / "shop")
        typed = job.typed(folder)
        with failing.failing(folder):
            result = type_all(typed, folder)
        if result.status != job.status:
            raise SystemExit(f"The job {job.name} does not work at all: {result.err}")
        job.work(folder)
        return failing.calls, _bytes_in(folder), tell(folder)


def _bytes_in(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def main() -> None:
    """Let every job's disk fail often, print what came of it, and fail where anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--job", choices=jobs.JOBS, help="only this one")
    asked = parser.parse_args()
    if why := disk.missing():
        raise SystemExit(f"Nothing was tried: {why}.")
    if not disk.has_library():
        sys.exit(disk.again_with_library())
    sys.stdout.write(
        f"{'job':<9}{'failure':<10}{'calls':>6}{'times':>7}{'told':>6}{'done':>6}"
        f"{'lost':>6}{'double':>8}\n"
    )
    chance, bad = random.Random(asked.seed), 0
    names = [asked.job] if asked.job else list(jobs.JOBS)
    with tempfile.TemporaryDirectory() as scratch, disk.small_disk(Path(scratch), _SIZE) as refused:
        if refused:
            sys.stdout.write(f"Failure {_SMALL!r} is not tried: {refused}.\n")
        kinds = itertools.cycle([*KINDS, *([] if refused else [_SMALL])])
        for place, name in enumerate(names):
            times = asked.times // len(names) + (place < asked.times % len(names))
            those = list(itertools.islice(kinds, times))
            bad += _spoil_often(jobs.JOBS[name], those, chance, Path(scratch))
    if bad:
        raise SystemExit(f"{bad} failures of the disk did harm.")


def _spoil_often(job: jobs.Job, kinds: Sequence[str], chance: random.Random, mount: Path) -> int:
    """Let the disk of a job fail in these ways, print what came of it, and count what did harm."""
    failing = disk.FailingDisk()
    found: dict[str, list[Spoilt]] = {kind: [] for kind in sorted(set(kinds))}
    with tempfile.TemporaryDirectory() as scratch:
        before = Path(scratch) / "before"
        before.mkdir()
        job.prepare(before)
        calls, size, after = usual(failing, job, before)
        for kind in kinds:
            if kind == _SMALL:
                one = fill(job, before, after, mount, chance.randrange(size))
            else:
                one = spoil(failing, job, before, after, kind, chance.randint(1, calls))
            found[kind].append(one)
    return sum(_print(job, kind, calls, those) for kind, those in found.items())


def _print(job: jobs.Job, kind: str, calls: int, found: Sequence[Spoilt]) -> int:
    hit = [each for each in found if each.hit]
    said = sum(each.said for each in hit)
    lost = [each for each in found if each.lost]
    twice = [each for each in found if each.twice]
    sys.stdout.write(
        f"{job.name:<9}{kind:<10}{calls:6}{len(hit):7}{said:6}{len(hit) - said:6}"
        f"{len(lost):6}{len(twice):8}\n"
    )
    for each in (*lost, *twice)[:5]:
        sys.stdout.write(f"  {each.when}: {'; '.join(each.lost + each.twice)}\n")
    sys.stdout.flush()
    return len(lost) + len(twice)


if __name__ == "__main__":
    main()
