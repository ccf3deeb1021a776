"""Feed damaged logs to ingest: each must be taken in with its flags, or refused in one sentence.

    PYTHONPATH=tests/support python tests/fuzz/fuzzing.py [--seconds 600] [--first SEED]

A failure names its seed; `--first SEED` begins with it.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from mutants import mutant

from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.run import MISSING
from babbitt.register.records import engines, runs
from dialects.make import FORMS
from invented import SPEC

BABBITT = str(Path(sys.executable).with_name("babbitt"))
LONGEST_SENTENCE = 1500
RUNS_A_LOGBOOK = 100
WRITTEN_S = 1_780_000_000.0
"""When the logs were written, in seconds since 1970: so long ago that nobody waits for more."""

COMMAND_EVERY = 100
"""So many logs go in by library call to each one by the installed command."""

TAKEN = [form for form in FORMS if not form.refused]
LOGS = [form.data for form in TAKEN]


class FaultError(AssertionError):
    """An end other than the two that are allowed."""


def fuzz(folder: Path, seeds: Iterable[int], *, command_every: int = COMMAND_EVERY) -> Counter[str]:
    """Feed the mutants of the seeds to logbooks in `folder`; return how often each end came.

    Raises:
        FaultError: one came to another end.
    """
    ends: Counter[str] = Counter()
    book: Logbook | None = None
    for count, seed in enumerate(seeds):
        if book is None or count % RUNS_A_LOGBOOK == 0:
            require_whole(book, f"before seed {seed}")
            book = create_logbook(folder / f"book-{seed}", settings_text())
        index, data = mutant(seed, LOGS)
        path = folder / f"mutant-{seed}.csv"
        path.write_bytes(data)
        os.utime(path, (WRITTEN_S, WRITTEN_S))
        engine = f"E{seed}"
        with book.register.writing() as session:
            engines.add_engine(session, engine, SPEC)
        before = contents(book)
        try:
            if command_every and count % command_every == command_every - 1:
                end = by_command(book, path, engine)
            else:
                instructions = replace(Instructions(engine_id=engine), **TAKEN[index].given)
                end = by_call(book, path, instructions)
        except Exception as error:
            raise FaultError(f"seed {seed}, a damaged {TAKEN[index].name}: {error!r}") from error
        if end == "refused" and contents(book) != before:
            raise FaultError(f"seed {seed}: refused, and yet the logbook changed")
        ends[end] += 1
        path.unlink()
    require_whole(book, "at the end")
    return ends


def by_call(book: Logbook, path: Path, instructions: Instructions) -> str:
    intake = ingest_log(book, path, instructions, overlap="keep-both")
    for sentence in (*intake.warnings, *filter(None, [intake.error])):
        require_sentence(sentence)
    if intake.status == "refused":
        if intake.error is None or path.name not in intake.error:
            raise FaultError(f"refused without saying which file: {intake.error}")
    elif intake.status == "ingested":
        require_run(book, intake, instructions.engine_id)
    return intake.status


def by_command(book: Logbook, path: Path, engine: str) -> str:
    command = ["ingest", str(path), "--engine", engine, "--overlap", "keep-both", "--json"]
    done = subprocess.run(
        [BABBITT, "--logbook", str(book.root), *command],
        capture_output=True,
        text=True,
        check=False,
    )
    if "Traceback" in done.stderr or done.returncode not in (0, 1):
        raise FaultError(f"the command ended with {done.returncode}: {done.stderr[-2000:]}")
    (answer,) = json.loads(done.stdout)
    if (answer["status"] == "refused") != (done.returncode == 1):
        raise FaultError(f"the command ended with {done.returncode}, and says {answer['status']}")
    return str(answer["status"])


def require_sentence(sentence: str) -> None:
    if not sentence.isprintable() or not sentence.endswith("."):
        raise FaultError(f"no plain sentence: {sentence!r}")
    if len(sentence) > LONGEST_SENTENCE:
        raise FaultError(f"a sentence of {len(sentence)} characters: {sentence[:300]}...")


def require_run(book: Logbook, intake: Intake, engine: str) -> None:
    run = book.read_run(engine, str(intake.run_id))
    if (
        len(run.time_s) != intake.rows
        or run.time_s[0] != 0.0
        or not (np.diff(run.time_s) > 0).all()
    ):
        raise FaultError("its time does not rise from zero, or has other rows than were told")
    for name, signal in run.signals.items():
        if np.isinf(signal.values).any():
            raise FaultError(f"{name} is infinite")
        if (np.isnan(signal.values) != (signal.flags == MISSING)).any():
            raise FaultError(f"the flags of {name} do not say where it is missing")


def contents(book: Logbook) -> tuple[frozenset[str], int]:
    """What a refusal must leave as it is: the files of runs, and their records."""
    with book.register.reading() as session:
        count = len(runs.list_runs(session, include_removed=True))
    files = (path for folder in ("runs", "originals") for path in (book.root / folder).rglob("*"))
    return frozenset(str(path) for path in files if path.is_file()), count


def require_whole(book: Logbook | None, when: str) -> None:
    if book is None:
        return
    found = verify(book)
    if found.faults or found.unfinished:
        raise FaultError(
            f"the logbook is not whole {when}: {'; '.join((*found.faults, *found.unfinished))}"
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--first", type=int, default=int(time.time()))
    given = parser.parse_args()
    end = time.monotonic() + given.seconds
    ends: Counter[str] = Counter()
    first = given.first
    while time.monotonic() < end:
        with TemporaryDirectory(prefix="fuzz-") as folder:
            ends += fuzz(Path(folder), range(first, first + RUNS_A_LOGBOOK))
        first += RUNS_A_LOGBOOK
        print(f"seeds {given.first} to {first - 1}: {dict(ends)}", flush=True)


if __name__ == "__main__":
    main()
