"""Logs that came by a browser and wait to be taken in: the logbook's folder `.uploads`.

A log's own name is kept as text beside it, and never used as the name of a file.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from babbitt.errors import LogRefusedError, Remedy
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.log_files import is_log
from babbitt.present.views.logs_choices import Choices

MOST_BYTES = 1 << 31
"""A browser may send no larger log; what is larger is taken in by `babbitt ingest`."""

KEPT_S = 7 * 86_400.0
"""So long a log waits before it is thrown away."""

_BROKEN_OFF_S = 86_400.0
"""After so long without another piece, a log that did not come whole is thrown away."""

_FOLDER = ".uploads"
_TOKEN = re.compile(r"[0-9a-f]{16}")
_LONGEST_NAME = 200


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Seen(_Kept):
    """What a look at a log found.

    Attributes:
        rows: that it has; None: it is no table.
        started_at: UTC; None where it cannot be told.
        duration_s: from the first row to the last; None where it cannot be told.
        profile: name of the logger profile by which it was read; None: by none.
        problem: why it would be refused, or was; None: nothing is in its way.
    """

    rows: int | None
    started_at: datetime | None
    duration_s: float | None
    profile: str | None
    problem: str | None


class Waiting(_Kept):
    """A log that waits.

    Attributes:
        token: names it among those that wait.
        name: its file name.
        size: bytes.
        modified_at: when the file was last changed, as the browser says.
        came_at: UTC.
        choices: what was said of it.
        seen: what the last look at it found; None: nobody looked yet.
        refused: why taking it in was refused, with these choices; None: it was not.
        remedies: that would settle that.
        sha256: of its bytes, under which its refusal is remembered; None: none is.
    """

    token: str
    name: str
    size: int
    modified_at: datetime
    came_at: datetime
    choices: Choices = Choices()
    seen: Seen | None = None
    refused: str | None = None
    remedies: tuple[Remedy, ...] = ()
    sha256: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _without_option(cls, told: Any) -> Any:
        """Leave out what was kept in place of remedies: what settles a log is found again."""
        return {k: v for k, v in told.items() if k != "option"} if isinstance(told, dict) else told


def begin(book: Logbook, name: str, size: int, modified_at: datetime) -> str:
    """Make room for a log that is about to come, and return its token.

    Args:
        book: the logbook.
        name: file name, as the browser says.
        size: bytes.
        modified_at: when it was last changed; a moment ahead is taken for now.

    Raises:
        LogRefusedError: it is no log by its name, empty or too large.
        LogbookError: the logbook cannot be written.
    """
    plain = _plain(name)
    if not is_log(Path(plain)):
        raise LogRefusedError(
            f"{plain} is no log by its name: logs end in .csv, .tsv, .txt or .log, and may be "
            "packed as .gz, .zst or .zip."
        )
    if size <= 0:
        raise LogRefusedError(f"{plain} is empty: copy it from the logger again.")
    if size > MOST_BYTES:
        raise LogRefusedError(
            f"{plain} is larger than {MOST_BYTES >> 30} GB: pack it, or take it in with "
            "`babbitt ingest`."
        )
    now = datetime.now(UTC)
    token = secrets.token_hex(8)
    waiting = Waiting(
        token=token,
        name=plain,
        size=size,
        modified_at=min(modified_at, now),
        came_at=now,
    )
    with saying_what_failed(f"cannot write in {book.root}"):
        sweep(book)
        folder = _folder(book, token)
        folder.mkdir(parents=True, mode=0o700)
        (folder / "part").touch()
    save(book, waiting)
    return token


def add_piece(book: Logbook, token: str, at: int, blocks: Iterable[bytes]) -> int:
    """Write the next piece of a log that comes; with the last one it is whole.

    Args:
        book: the logbook.
        token: of the log.
        at: bytes that came before.
        blocks: the piece.

    Returns:
        Bytes that have come.

    Raises:
        LogRefusedError: it no longer waits, pieces are out of order, or more comes than was said.
        LogbookError: the logbook cannot be written.
    """
    waiting = _about(book, token)
    part = _folder(book, token) / "part"
    with saying_what_failed(f"cannot write {waiting.name}"):
        if not part.is_file() or part.stat().st_size != at:
            raise LogRefusedError(f"{waiting.name} did not come in order: choose it again.")
        with part.open("r+b", buffering=0) as file, _or_as_before(file.fileno(), at):
            file.seek(at)
            for block in blocks:
                file.write(block)
                if file.tell() > waiting.size:
                    raise LogRefusedError(
                        f"{waiting.name} is larger than was said: choose it again."
                    )
            came = file.tell()
        if came == waiting.size:
            modified_s = waiting.modified_at.timestamp()
            os.utime(part, (modified_s, modified_s))
            part.replace(log_path(book, token))
    return came


def waiting_logs(book: Logbook) -> tuple[Waiting, ...]:
    """Return the logs that wait and are whole, in the order in which they came."""
    with saying_what_failed(f"cannot read in {book.root}"):
        tokens = [path.parent.name for path in (book.root / _FOLDER).glob("*/log")]
    found = [_about(book, token) for token in tokens if _TOKEN.fullmatch(token)]
    return tuple(sorted(found, key=lambda each: (each.came_at, each.name)))


def find_waiting(book: Logbook, token: str) -> Waiting:
    """Return a log that waits.

    Raises:
        LogRefusedError: it does not, any more.
    """
    if not _TOKEN.fullmatch(token) or not log_path(book, token).is_file():
        raise _gone()
    return _about(book, token)


def log_path(book: Logbook, token: str) -> Path:
    """Where a log that waits lies."""
    return _folder(book, token) / "log"


def save(book: Logbook, waiting: Waiting) -> None:
    """Keep what was said and seen of a log.

    Raises:
        LogbookError: the logbook cannot be written.
    """
    folder = _folder(book, waiting.token)
    with saying_what_failed(f"cannot write in {book.root}"):
        written = folder / f"about-{secrets.token_hex(4)}"
        written.write_text(waiting.model_dump_json(), encoding="utf-8")
        written.replace(folder / "about.json")


def discard(book: Logbook, token: str) -> None:
    """Throw a log away that waits.

    Raises:
        LogRefusedError: it does not, any more.
        LogbookError: it cannot be deleted.
    """
    if not _TOKEN.fullmatch(token) or not _folder(book, token).is_dir():
        raise _gone()
    with saying_what_failed(f"cannot delete in {book.root}"):
        shutil.rmtree(_folder(book, token))


def sweep(book: Logbook) -> None:
    """Throw away what has waited too long, or never came whole.

    Raises:
        OSError: it cannot be deleted.
    """
    now = time.time()
    for folder in (book.root / _FOLDER).glob("*"):
        part = folder / "part"
        broken_off = part.is_file() and part.stat().st_mtime < now - _BROKEN_OFF_S
        if broken_off or folder.stat().st_mtime < now - KEPT_S:
            shutil.rmtree(folder, ignore_errors=True)


def _about(book: Logbook, token: str) -> Waiting:
    if not _TOKEN.fullmatch(token):
        raise _gone()
    try:
        text = (_folder(book, token) / "about.json").read_text(encoding="utf-8")
        return Waiting.model_validate_json(text)
    except (FileNotFoundError, ValidationError) as error:
        raise _gone() from error


def _folder(book: Logbook, token: str) -> Path:
    return book.root / _FOLDER / token


def _gone() -> LogRefusedError:
    return LogRefusedError("That file no longer waits here: choose it again.")


def _plain(name: str) -> str:
    """Return the last part of a file's name, without what cannot be printed."""
    last = PurePosixPath(name.replace("\\", "/")).name
    return "".join(c for c in last if c.isprintable())[-_LONGEST_NAME:] or "a file without a name"


@contextmanager
def _or_as_before(handle: int, size: int) -> Iterator[None]:
    """Cut a file off at its former size where writing to it fails, so that it can be repeated."""
    try:
        yield
    except BaseException:
        os.ftruncate(handle, size)
        raise
