"""Work on hostile input, in a process of its own with bounds of time and memory."""

from __future__ import annotations

import os
import resource
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from babbitt.commands.cli import main
from babbitt.errors import BabbittError
from forked import FORK

MOST_S = 10.0
MOST_BYTES = 1 << 30


@dataclass(frozen=True)
class Ended:
    """How work ended.

    Attributes:
        value: that was returned; the name of a refusal's class where it refused.
        said: the sentence of a refusal, or the traceback of a fault; "" else.
        refused: it ended in a sentence.
        seconds: that it took.
        peak_bytes: of memory, the interpreter's own included.
    """

    value: Any
    said: str
    refused: bool
    seconds: float
    peak_bytes: int


def bounded(work: Callable[..., Any], *args: Any) -> Ended:
    """Run `work` and return how it ended; whatever is no answer and no sentence is a failure."""
    here, there = FORK.Pipe(duplex=False)
    process = FORK.Process(target=_work, args=(there, work, args))
    process.start()
    there.close()
    try:
        # the machine may be busy with other tests, so the clock of the process itself decides
        assert here.poll(10 * MOST_S), f"still at it after {10 * MOST_S:.0f} s"
        ended: Ended = here.recv()
    except EOFError as error:
        process.join()
        raise AssertionError(f"the process died with {process.exitcode}") from error
    finally:
        process.kill()
        process.join()
    assert ended.refused or not ended.said, ended.said
    assert ended.seconds < MOST_S, f"took {ended.seconds:.1f} s of computing"
    assert ended.peak_bytes < MOST_BYTES, f"took {ended.peak_bytes / 1e6:.0f} MB"
    return ended


def command(*words: object) -> tuple[int, str, str]:
    """Run `babbitt` in this process; return its status, and what it wrote."""
    with TemporaryDirectory() as folder:
        places = {name: Path(folder) / name for name in ("out", "err")}
        for number, (name, path) in enumerate(places.items(), start=1):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT), number)
            setattr(sys, f"std{name}", os.fdopen(number, "w", encoding="utf-8", closefd=False))
        sys.argv = ["babbitt", *map(str, words)]
        status = 0
        try:
            main()
        except SystemExit as error:
            status = int(error.code or 0)
        sys.stdout.flush()
        sys.stderr.flush()
        said = [path.read_text("utf-8") for path in places.values()]
    return status, said[0], said[1]


def _work(there: Any, work: Callable[..., Any], args: tuple[Any, ...]) -> None:
    value, said, refused, begun = None, "", False, time.process_time()
    try:
        value = work(*args)
    except BabbittError as error:
        value, said, refused = type(error).__name__, str(error), True
    except BaseException:
        said = traceback.format_exc()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    there.send(Ended(value, said, refused, time.process_time() - begun, peak))
