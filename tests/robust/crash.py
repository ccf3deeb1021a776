"""Kill the program at random instants, again and again, and see that nothing is lost.

`make crash` runs this: jobs are killed (SIGKILL) somewhere between their start and their end; after
each kill the logbook must open and be whole, then the same job is done again, and the logbook must
tell what it tells where the job was never cut off.
"""

from __future__ import annotations

import argparse
import itertools
import random
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import jobs
from telling import differences, doubles, faults_of, tell

from forked import FORK

_LONGER = 1.05
"""Kills fall within this many times what the job takes, so that its very end is hit as well."""


@dataclass(frozen=True)
class Struck:
    """What became of one kill.

    Attributes:
        job: that was killed.
        when: share of the job's usual time.
        finished: the job had ended before.
        lost: what was there before or must be there after, and is not.
        twice: what counts twice.
    """

    job: str
    when: float
    finished: bool
    lost: tuple[str, ...]
    twice: tuple[str, ...]


def strike(
    job: jobs.Job, before: Path, after: dict[str, Any], took_s: float, when: float
) -> Struck:
    """Kill a job once, look, do it again, look again.

    Args:
        job: to be killed.
        before: the folder it works in, as it was.
        after: what the folder tells where the job was never cut off.
        took_s: what the job takes, s.
        when: to kill it, as a share of that.
    """
    with tempfile.TemporaryDirectory() as scratch:
        folder = shutil.copytree(before, Path(scratch) / "shop")
        finished = _kill(job, folder, took_s * when)
        lost = [f"after the kill: {fault}" for fault in faults_of(folder)]
        job.work(folder)
        told = tell(folder)
        lost += [f"after doing it again: {fault}" for fault in faults_of(folder)]
        lost += [f"after doing it again: {each}" for each in differences(told, after)]
    return Struck(job.name, when, finished, tuple(lost), doubles(told))


def _kill(job: jobs.Job, folder: Path, after_s: float) -> bool:
    """Start a job in a process of its own and kill it; return whether it had ended."""
    here, there = FORK.Pipe()
    process = FORK.Process(target=_run, args=(job.name, folder, there))
    process.start()
    here.recv()
    process.join(after_s)
    finished = process.exitcode is not None
    process.kill()
    process.join()
    return finished


def _run(name: str, folder: Path, begun: Connection) -> None:
    begun.send(None)
    jobs.JOBS[name].work(folder)


def usual(job: jobs.Job, before: Path, *, tries: int = 3) -> tuple[float, dict[str, Any]]:
    """Return what a job takes at best in a process of its own, and what it leads to."""
    took = []
    for _ in range(tries):
        with tempfile.TemporaryDirectory() as scratch:
            folder = shutil.copytree(before, Path(scratch) / "shop")
            here, there = FORK.Pipe()
            process = FORK.Process(target=_run, args=(job.name, folder, there))
            process.start()
            here.recv()
            began = time.perf_counter()
            process.join()
            took.append(time.perf_counter() - began)
            if process.exitcode != 0:
                raise SystemExit(f"The job {job.name} does not work at all.")
            after = tell(folder)
    return min(took), after


def main() -> None:
    """Kill every job often, print what came of it, and fail where anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    counts = {name: asked.kills // len(jobs.JOBS) for name in jobs.JOBS}
    for name in itertools.islice(jobs.JOBS, asked.kills % len(jobs.JOBS)):
        counts[name] += 1
    bad = 0
    sys.stdout.write(f"{'job':<10}{'takes':>8}{'kills':>8}{'in time':>9}{'lost':>6}{'double':>8}\n")
    for name, count in counts.items():
        job = jobs.JOBS[name]
        with tempfile.TemporaryDirectory() as scratch:
            before = Path(scratch) / "before"
            before.mkdir()
            job.prepare(before)
            took_s, after = usual(job, before)
            struck = [
                strike(job, before, after, took_s, chance.uniform(0.0, _LONGER))
                for _ in range(count)
            ]
        in_time = sum(not each.finished for each in struck)
        lost = [each for each in struck if each.lost]
        twice = [each for each in struck if each.twice]
        bad += len(lost) + len(twice)
        sys.stdout.write(
            f"{name:<10}{took_s:7.2f}s{count:8}{in_time:9}{len(lost):6}{len(twice):8}\n"
        )
        for each in (*lost, *twice)[:5]:
            sys.stdout.write(f"  at {each.when:.0%}: {'; '.join(each.lost + each.twice)}\n")
        sys.stdout.flush()
    if bad:
        raise SystemExit(f"{bad} kills did harm.")


if __name__ == "__main__":
    main()
