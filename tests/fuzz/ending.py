"""How work on damaged input may end: with a value, or in one sentence; in time, and in memory."""

from __future__ import annotations

import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from babbitt.errors import BabbittError

MOST_S = 10.0
MOST_BYTES = 1 << 30
LONGEST_SENTENCE = 6000
"""As many faults as are told at once, of the longest clauses."""


class FaultError(AssertionError):
    """An end other than those that are allowed."""


def end_of(work: Callable[[], Any]) -> str:
    """Do work, and return how it ended: taken or refused.

    Raises:
        FaultError: it came to another end, or took too long or too much memory.
    """
    held, peak = _forget_peak()
    try:
        with _in_time():
            work()
        end = "taken"
    except BabbittError as error:
        said = str(error)
        if not said.endswith(".") or len(said) > LONGEST_SENTENCE:
            raise FaultError(f"no plain sentence: {said[:300]!r}") from error
        end = "refused"
    except FaultError:
        raise
    except Exception as error:
        raise FaultError(f"{type(error).__name__}: {str(error)[:300]}") from error
    reached = _own_bytes("VmHWM")
    if reached > max(peak, held + MOST_BYTES):
        raise FaultError(f"took {(reached - held) / 1e6:.0f} MB")
    return end


def _forget_peak() -> tuple[int, int]:
    """Bytes this process holds, and its peak so far, forgotten where the system lets us.

    Whatever ran in this process before may have held more than the work is allowed.
    """
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")
    return _own_bytes("VmRSS"), _own_bytes("VmHWM")


def _own_bytes(name: str) -> int:
    found = re.search(rf"^{name}:\s+(\d+) kB$", Path("/proc/self/status").read_text(), re.MULTILINE)
    assert found is not None
    return int(found[1]) * 1024


@contextmanager
def _in_time() -> Iterator[None]:
    def too_long(*_: object) -> None:
        raise FaultError(f"took more than {MOST_S:.0f} s")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.setitimer(signal.ITIMER_REAL, MOST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
