"""The bytes of a log, block by block: as its logger wrote them, unpacked, or of a table as text."""

from __future__ import annotations

import hashlib
import io
import struct
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pyarrow as pa

from babbitt.errors import LogRefusedError
from babbitt.ingest.table_bytes import ARROW, TableText, is_table

BLOCK = 1 << 20
"""Bytes read at a time."""

MOST_BYTES = 1 << 34
"""A packed log may hold no more: a day of 100 channels at 100 Hz has a third of it."""

MOST_TIMES = 200
"""A packed log may hold no more than so many times its own size, past ALWAYS_ALLOWED: figures that
hardly change take a hundredth when packed (our own trial)."""

ALWAYS_ALLOWED = 1 << 28

UNDER_WAY_S = 3.0
"""A logger or a copy that is under way writes more often than this."""

_GZIP, _ZSTD, _ZIP = b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"PK\x03\x04"
_LINE_ENDS = b"\r\n\0\x1a"
_ENCRYPTED = 0x1
_BY_PIECES = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""How a zip may be packed: Python unpacks the other ways all at once, whatever comes of it."""
_DAMAGED = (
    OSError,
    EOFError,
    LookupError,
    ValueError,
    struct.error,
    NotImplementedError,
    zipfile.BadZipFile,
    zlib.error,
    pa.ArrowException,
)


def _ignore(_: int) -> None:
    pass


@dataclass(frozen=True)
class LogBytes:
    """The bytes of a log, unpacked.

    Attributes:
        path: of its file.
        size: bytes of the file.
        modified_ns: when the file was last changed.
    """

    path: Path
    size: int
    modified_ns: int

    def open(self, told: Callable[[int], None] = _ignore) -> ByteStream:
        """Open a stream of the bytes, from the first on.

        Args:
            told: is told how many bytes of the file were read so far, again and again.

        Raises:
            LogRefusedError: the file holds more or less than one log; from the stream: it is
                damaged, or holds more than any log.
        """
        with ExitStack() as opened:
            file = opened.enter_context(self.path.open("rb"))
            inner = opened.enter_context(closing(_unpacked(file, self.path)))
            limit = None if inner is file else self._most()
            return ByteStream(inner, file, self.path, limit, told, opened.pop_all())

    def blocks(self, told: Callable[[int], None] = _ignore) -> Iterator[bytes]:
        """Yield the bytes, block after block; tells and raises as `open` does."""
        with closing(self.open(told)) as stream:
            while block := stream.read(BLOCK):
                yield block

    def sha256(self, told: Callable[[int], None] = _ignore) -> str:
        """Return the SHA-256 of the bytes, hexadecimal; tells and raises as `open` does."""
        digest = hashlib.sha256()
        for block in self.blocks(told):
            digest.update(block)
        return digest.hexdigest()

    def refuse_if_changed(self) -> None:
        """Make sure that the file is what it was when it was opened.

        Raises:
            LogRefusedError: it is not.
        """
        now = self.path.stat()
        if (now.st_size, now.st_mtime_ns) != (self.size, self.modified_ns):
            raise LogRefusedError(
                f"{self.path} changed while it was read: it is still being written, so take it in "
                "when that is done.",
                later=True,
            )

    def _most(self) -> int:
        return min(max(MOST_TIMES * self.size, ALWAYS_ALLOWED), MOST_BYTES)


class ByteStream:
    """A stream of a log's bytes."""

    def __init__(
        self,
        inner: Any,
        file: IO[bytes],
        path: Path,
        limit: int | None,
        told: Callable[[int], None],
        opened: ExitStack,
    ) -> None:
        """Begin at the first byte.

        Args:
            inner: what the bytes are read from.
            file: what it reads from itself.
            path: of the file.
            limit: bytes, of which there may be no more; None: any number.
            told: is told how many bytes of the file were read.
            opened: what is to be closed.
        """
        self._inner = inner
        self._file = file
        self._path = path
        self._limit = limit
        self._told = told
        self._opened = opened
        self._count = 0

    def read(self, size: int) -> bytes:
        """Return up to `size` bytes, none at the end.

        Raises:
            LogRefusedError: the file is damaged, or holds more than any log.
        """
        if self._limit is None:
            data: bytes = self._inner.read(size)
        else:
            with _saying_damaged(self._path):
                data = self._inner.read(size)
            self._count += len(data)
            if self._count > self._limit:
                raise LogRefusedError(
                    f"{self._path} holds more than {self._limit / 1e9:.1f} GB once unpacked, which "
                    "no log of its size does: unpack it yourself, and name the log."
                )
        self._told(self._file.tell())
        return data

    def close(self) -> None:
        """Close the file."""
        self._opened.close()


@contextmanager
def open_log(path: Path) -> Iterator[LogBytes]:
    """Yield the bytes of a log, unpacked where gzip, zstd or zip packed it.

    A log that was written to a moment ago and ends in the middle of a line is waited for.

    Args:
        path: of the file.

    Raises:
        LogRefusedError: there is no such file, it is a folder, empty or still being written.
    """
    if path.is_dir():
        raise LogRefusedError(f"{path} is a folder: name the logs in it, like {path}/*.csv.")
    try:
        found = path.stat()
    except FileNotFoundError as error:
        raise LogRefusedError(f"There is no file {path}: check its name.") from error
    if found.st_size == 0:
        raise LogRefusedError(f"{path} is empty: copy it from the logger again.")
    log = LogBytes(path, found.st_size, found.st_mtime_ns)
    age_s = time.time() - found.st_mtime
    if 0.0 <= age_s < UNDER_WAY_S and not _ends_in_whole_line(path):
        time.sleep(UNDER_WAY_S - age_s)
        log.refuse_if_changed()
    yield log


def _ends_in_whole_line(path: Path) -> bool:
    """Whether a file ends in a whole line; of a packed one it shows as it is unpacked."""
    with path.open("rb") as file:
        head = file.read(len(ARROW))
        if head.startswith((_GZIP, _ZSTD, _ZIP)) or is_table(head):
            return True
        file.seek(-1, io.SEEK_END)
        return file.read(1) in _LINE_ENDS


def _unpacked(file: IO[bytes], path: Path) -> Any:
    """Return a stream of what a file holds; the file itself where it is not packed."""
    head = file.read(len(ARROW))
    file.seek(0)
    if is_table(head):
        try:
            return TableText(file)
        except _DAMAGED as error:
            raise LogRefusedError(
                f"{path} cannot be read as a Parquet or Arrow file ({error}): write it again, or "
                "export the log as CSV."
            ) from error
    if head.startswith(_GZIP):
        return pa.CompressedInputStream(pa.PythonFile(file, mode="r"), "gzip")
    if head.startswith(_ZSTD):
        return pa.CompressedInputStream(pa.PythonFile(file, mode="r"), "zstd")
    if head.startswith(_ZIP):
        with _saying_damaged(path):
            return _only_log(zipfile.ZipFile(file), path)
    return file


def _only_log(archive: zipfile.ZipFile, path: Path) -> IO[bytes]:
    """Open the one log of an archive; hidden files and folders in it do not count."""
    logs = [
        info
        for info in archive.infolist()
        if not info.is_dir()
        and not any(part.startswith((".", "__")) for part in Path(info.filename).parts)
    ]
    if len(logs) != 1:
        names = ", ".join(info.filename for info in logs[:5]) + (", ..." if len(logs) > 5 else "")
        what = f"{len(logs)} files ({names})" if logs else "no file"
        raise LogRefusedError(f"{path} holds {what}, not one log: unpack it, and name the logs.")
    if logs[0].flag_bits & _ENCRYPTED:
        raise LogRefusedError(f"{path} is locked with a password: unpack it, and name the log.")
    if logs[0].compress_type not in _BY_PIECES:
        raise LogRefusedError(
            f"{path} is packed in a way that no logger packs (method {logs[0].compress_type} of "
            "zip): unpack it, and name the log."
        )
    return archive.open(logs[0])


@contextmanager
def _saying_damaged(path: Path) -> Iterator[None]:
    try:
        yield
    except _DAMAGED as error:
        raise LogRefusedError(
            f"{path} is packed, and cannot be unpacked ({error}): copy it from the logger again."
        ) from error
