"""A season lands log by log in a watched folder while its pages are looked at, for half an hour.

`make soak` runs this. Memory and file handles of both programs are sampled; after a while of
warming up neither may grow any more, and in the end every log must be in, once.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import crowd
import numpy as np
import psutil
from jobs import WHO
from scipy.stats import theilslopes
from served import Pages, serving
from telling import doubles, faults_of, tell

from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.register.records import corrections, runs
from shop import SCRIPT, write_minute

MOST_MB_PER_MINUTE = 0.5
"""Memory may grow so fast once warm: 15 MB in half an hour."""
MOST_HANDLES = 8
"""So many more files may be open at the end than once warm: those of a page just being made."""

LOGS = 30
"""So many logs are a season."""
LOOKED_AT = 3
"""The runs of so many of them are looked at."""

_WARM = 1 / 3
"""Share of the time in which caches fill and libraries are loaded."""
EVERY_S = 2.0
"""A log lands so often, and pages are looked at in between."""
_PATIENCE_S = 120.0
_MB = 1e6


@dataclass
class Sampled:
    """What a program took, as time went by.

    Attributes:
        name: of the program.
        process: that runs it.
        at_s: when it was sampled, from the beginning.
        memory_mb: that it held.
        handles: files and sockets that it had open.
    """

    name: str
    process: psutil.Process
    at_s: list[float] = field(default_factory=list)
    memory_mb: list[float] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)

    def sample(self, at_s: float) -> None:
        """Note what it takes now."""
        self.at_s.append(at_s)
        self.memory_mb.append(self.process.memory_info().rss / _MB)
        self.handles.append(self.process.num_fds())


@dataclass(frozen=True)
class Growth:
    """How a program grew once it was warm.

    Attributes:
        name: of the program.
        curve_mb: memory in each tenth of the time, the mean.
        memory_mb: when it was warm, and in the end.
        mb_per_minute: the median slope between all pairs of samples (Theil and Sen).
        handles: the most when it was warm, and in the end.
    """

    name: str
    curve_mb: tuple[float, ...]
    memory_mb: tuple[float, float]
    mb_per_minute: float
    handles: tuple[int, int]

    @property
    def wrong(self) -> list[str]:
        """What grew too fast, a sentence each."""
        said = []
        if self.mb_per_minute > MOST_MB_PER_MINUTE:
            said.append(f"{self.name} grows by {self.mb_per_minute:.2f} MB a minute.")
        if self.handles[1] > self.handles[0] + MOST_HANDLES:
            said.append(f"{self.name} had {self.handles[0]} files open, and {self.handles[1]} now.")
        return said


def growth(sampled: Sampled) -> Growth:
    """Return how a program grew after it was warm."""
    warm_at = next(n for n, at_s in enumerate(sampled.at_s) if at_s >= _WARM * sampled.at_s[-1])
    at_s, memory = sampled.at_s[warm_at:], sampled.memory_mb[warm_at:]
    handles, part = sampled.handles[warm_at:], max(len(at_s) // 4, 1)
    return Growth(
        sampled.name,
        tuple(float(some.mean()) for some in np.array_split(sampled.memory_mb, 10) if len(some)),
        (sum(memory[:part]) / part, sum(memory[-part:]) / part),
        60.0 * float(theilslopes(memory, at_s).slope),
        (max(handles[:part]), max(handles[-part:])),
    )


@contextmanager
def watching(book: Path, folder: Path, said: Path) -> Iterator[int]:
    """Watch a folder with the command, and yield the number of its process."""
    words = ["watch", folder, "--engine", "E1", "--steady", "0.5", "--json"]
    with said.open("w") as out:
        watch = subprocess.Popen([SCRIPT, "--logbook", book, *words], stdout=out)
        try:
            yield watch.pid
        finally:
            watch.send_signal(signal.SIGTERM)
            watch.wait(_PATIENCE_S)


class Season:
    """Logs that land in a folder: sound ones, and now and then a copy or what is no log.

    Once a season's logs have landed the same ones land again, each after its run was removed, so
    that the logbook does not grow for good.
    """

    def __init__(self, book: Logbook, folder: Path, seed: int) -> None:
        self.landed: Counter[str] = Counter()
        self._book = book
        self._folder = folder
        self._chance = random.Random(seed)
        self._began = datetime(2026, 2, 1, 8, tzinfo=UTC)

    def land(self) -> None:
        """Let the next log land."""
        kind = self._chance.choices(["ingested", "duplicate", "refused"], [8, 1, 1])[0]
        kind = kind if self.landed["ingested"] >= LOOKED_AT else "ingested"
        number = self.landed[kind]
        if kind == "duplicate":
            copy = self._folder / f"copy{number:05d}.csv"
            copy.write_bytes(self._log(number % LOOKED_AT).read_bytes())
        elif kind == "refused":
            broken = self._folder / f"broken{number:05d}.csv"
            broken.write_text(f"no log at all, {number}\n", encoding="utf-8")
        else:
            self._land_sound(number)
        self.landed[kind] += 1

    def looked_at(self) -> list[str]:
        """Return the runs whose pages are looked at: the first, of logs that land but once."""
        with self._book.register.reading() as session:
            return [each.run_id for each in runs.list_runs(session)[:LOOKED_AT]]

    def _land_sound(self, number: int) -> None:
        log = self._log(number)
        if log.exists():
            sha256 = hashlib.sha256(log.read_bytes()).hexdigest()
            with self._book.register.writing(WHO) as session:
                known = runs.run_by_sha256(session, sha256)
                if known is None:
                    raise AssertionError(f"{log} is in no record")
                corrections.remove_run(session, known.run_id, "lands again")
        else:
            start = self._began + timedelta(minutes=10 * number)
            write_minute(log, start=start.isoformat(), peak_rpm=self._chance.uniform(7000, 8300))
        whole = log.read_bytes()
        with log.open("wb") as file:  # in two halves, as a logger writes
            file.write(whole[: len(whole) // 2])
            file.flush()
            time.sleep(0.1)
            file.write(whole[len(whole) // 2 :])

    def _log(self, number: int) -> Path:
        """Return where a sound log lies."""
        if number >= LOGS:
            number = LOOKED_AT + (number - LOOKED_AT) % (LOGS - LOOKED_AT)
        return self._folder / f"run{number:03d}.csv"


def soak(seconds: float, seed: int) -> tuple[list[Growth], Season, list[str]]:
    """Let a season land and look at its pages, so long.

    Returns:
        How the programs grew, what landed, and what else went wrong, a sentence each.
    """
    with tempfile.TemporaryDirectory() as scratch:
        shop = crowd.make_shop(Path(scratch))
        book, folder, said = shop / "book", shop / "landing", shop / "said"
        folder.mkdir()
        opened = open_logbook(book)
        season = Season(opened, folder, seed)
        with opened.register, serving(book) as pages, watching(book, folder, said) as watch:
            programs = [
                Sampled("watch", psutil.Process(watch)),
                Sampled("serve", psutil.Process(pages.process)),
            ]
            began = time.monotonic()
            while (at_s := time.monotonic() - began) < seconds:
                season.land()
                _look(pages, season)
                for each in programs:
                    each.sample(at_s)
                time.sleep(max(began + at_s + EVERY_S - time.monotonic(), 0.0))
            told = _wait_for(said, season)
        wrong = (
            [] if told == season.landed else [f"{dict(season.landed)} landed, {dict(told)} told"]
        )
        wrong += [*faults_of(shop), *doubles(tell(shop))]
    return [growth(each) for each in programs], season, wrong


def _look(pages: Pages, season: Season) -> None:
    some = [f"/run/{run_id}" for run_id in season.looked_at()]
    for path in ("/", "/runs", "/engine/E1", *some):
        pages.look(path)


def _wait_for(said: Path, season: Season) -> Counter[str]:
    """Return what became of the logs, once all were dealt with."""
    last = time.monotonic() + _PATIENCE_S
    while True:
        lines = [line for line in said.read_text("utf-8").splitlines() if line.startswith("{")]
        told = Counter(json.loads(line)["status"] for line in lines)
        if told.total() >= season.landed.total() or time.monotonic() > last:
            return told
        time.sleep(1.0)


def main() -> None:
    """Soak, print what grew, and fail where that or anything else is wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=1800.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    grown, season, wrong = soak(asked.seconds, asked.seed)
    sys.stdout.write(f"{asked.seconds:.0f} s; landed: {dict(season.landed)}\n")
    for each in grown:
        sys.stdout.write(
            f"{each.name:<7}{each.memory_mb[0]:7.1f} MB warm, {each.memory_mb[1]:7.1f} MB in the "
            f"end, {each.mb_per_minute:+.3f} MB a minute; files open: {each.handles[0]}, "
            f"{each.handles[1]}\n"
        )
        tenths = " ".join(f"{mb:.0f}" for mb in each.curve_mb)
        sys.stdout.write(f"       in tenths of the time: {tenths} MB\n")
    wrong += [sentence for each in grown for sentence in each.wrong]
    for sentence in wrong:
        sys.stdout.write(f"{sentence}\n")
    if wrong:
        raise SystemExit(f"{len(wrong)} things went wrong.")


if __name__ == "__main__":
    main()
