"""Feed damaged files to whatever takes files in: each is taken, or refused in one sentence.

    PYTHONPATH=tests/support python tests/fuzz/fuzz_handed.py [--seconds 600] [--first SEED]
        [--only NAME]

A failure names target and seed; `--first SEED --only NAME` begins with it.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from damaged import damage
from ending import FaultError, end_of
from handed import Target, targets

SLOW_SHARE = 20
"""Of slow targets so many times fewer inputs are tried."""


def fuzz(name: str, target: Target, seeds: Iterable[int]) -> Counter[str]:
    """Feed a target the damage of the seeds; return how often each end came.

    Raises:
        FaultError: one came to another end.
    """
    ends: Counter[str] = Counter()
    for seed in seeds:
        data = damage(seed, target.seeds)
        try:
            ends[end_of(partial(target.take, data))] += 1
        except FaultError as error:
            raise FaultError(f"{name}, seed {seed}: {error}") from error
    return ends


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--first", type=int, default=int(time.time()))
    parser.add_argument("--only")
    given = parser.parse_args()
    end, first = time.monotonic() + given.seconds, given.first
    ends: dict[str, Counter[str]] = {}
    with TemporaryDirectory(prefix="fuzz-") as folder:
        known = targets(Path(folder))
        chosen = {given.only: known[given.only]} if given.only else known
        while time.monotonic() < end:
            for name, target in chosen.items():
                seeds = range(first, first + (100 // SLOW_SHARE if target.slow else 100))
                ends.setdefault(name, Counter()).update(fuzz(name, target, seeds))
            first += 100
    for name, counted in ends.items():
        print(f"{name}: {dict(counted)}")


if __name__ == "__main__":
    main()
