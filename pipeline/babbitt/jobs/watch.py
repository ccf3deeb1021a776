"""Logs that land in a folder: told when they are whole, whatever becomes of the folder meanwhile.

What the operating system reports of a folder only wakes the watch up early: what counts is what a
look into the folder shows, so that drives without such reports are watched too.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

import watchfiles

from babbitt.logbook.log_files import logs_in

_TICK_S = 0.5
_LOOK_EVERY_S = 5.0
"""A folder is looked into so often where nothing is reported of it."""

State = tuple[int, int]
"""Size in bytes, and time of the last change in ns; another one is another content."""


class Landing:
    """The logs of a folder, and which of them are whole and were not dealt with yet.

    A log is whole once its state has been the same for some time by this machine's clock; the
    clock that stamps a network drive's files may be another.
    """

    def __init__(self, steady_s: float) -> None:
        """Begin with none dealt with.

        Args:
            steady_s: how long a log's state must stay the same.
        """
        self._steady_s = steady_s
        self._whole_at: dict[Path, tuple[State, float]] = {}
        self._done: dict[Path, State] = {}

    def whole(self, states: Mapping[Path, State], now_s: float) -> dict[Path, State]:
        """Return those logs that are whole and not dealt with, with the state they are in.

        Args:
            states: every log of the folder, and the state it is in.
            now_s: by a clock that never goes back.
        """
        waiting = {path: state for path, state in states.items() if self._done.get(path) != state}
        for path, state in waiting.items():
            if self._whole_at.get(path, (None, 0.0))[0] != state:
                self._whole_at[path] = (state, now_s + self._steady_s)
        self._whole_at = {path: self._whole_at[path] for path in waiting}
        return {path: state for path, (state, at_s) in self._whole_at.items() if at_s <= now_s}

    def next_at(self) -> float | None:
        """Return when the next log may be whole; None where none is waited for."""
        return min((at_s for _, at_s in self._whole_at.values()), default=None)

    def settle(self, path: Path, state: State, *, again_at: float | None = None) -> None:
        """Leave a log alone until its state changes, or until `again_at` where that is given."""
        if again_at is not None:
            self._whole_at[path] = (state, again_at)
        else:
            self._done[path] = state
            self._whole_at.pop(path, None)


@dataclass(frozen=True)
class Landed:
    """Logs that are whole; whoever takes them in settles them with the `Landing`.

    Attributes:
        logs: each with the state it is in, in the order of their names.
    """

    logs: Mapping[Path, State]


@dataclass(frozen=True)
class Missing:
    """The folder is not there, or cannot be read; it is waited for.

    Attributes:
        why: as the operating system says it.
    """

    why: str


@dataclass(frozen=True)
class Back:
    """The folder is there again."""


def watch_folder(folder: Path, landing: Landing) -> Iterator[Landed | Missing | Back]:
    """Yield the logs of a folder as they become whole, for ever.

    Args:
        folder: it may vanish and come back.
        landing: what is known of its logs.
    """
    missing = False
    while True:
        try:
            for _ in _times_to_look(folder, landing):
                whole = landing.whole(_states(folder), time.monotonic())
                if missing:
                    missing = False
                    yield Back()
                if whole:
                    yield Landed(whole)
        except OSError as error:
            if not missing:
                missing = True
                yield Missing(error.strerror or str(error))
            time.sleep(_TICK_S)


def _times_to_look(folder: Path, landing: Landing) -> Iterator[None]:
    """Yield when the folder should be looked into; end when it is another one than it was.

    Raises:
        OSError: it is gone.
    """
    identity = _identity(folder)
    look_at = time.monotonic()
    with closing(_reports(folder)) as reports:
        for reported in reports:
            now = time.monotonic()
            if reported or now >= min(look_at, landing.next_at() or look_at):
                yield
                look_at = now + _LOOK_EVERY_S
            if _identity(folder) != identity:
                return


def _reports(folder: Path) -> Generator[bool, None, None]:
    """Yield a few times a second whether a change was reported; False for ever without reports.

    Raises:
        OSError: the folder is gone.
    """
    tick_ms = round(1000 * _TICK_S)
    try:
        for changes in watchfiles.watch(
            folder, watch_filter=None, rust_timeout=tick_ms, yield_on_timeout=True
        ):
            yield bool(changes)
    except (OSError, RuntimeError):
        if not folder.is_dir():
            raise
    while True:
        yield False
        time.sleep(_TICK_S)


def _identity(folder: Path) -> tuple[int, int]:
    found = folder.stat()
    return found.st_dev, found.st_ino


def _states(folder: Path) -> dict[Path, State]:
    states: dict[Path, State] = {}
    for path in logs_in(folder):
        with suppress(FileNotFoundError):  # gone since the folder was read
            found = path.stat()
            states[path] = (found.st_size, found.st_mtime_ns)
    return states
