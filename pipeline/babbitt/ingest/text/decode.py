"""Encoding and line ends: a log's bytes as text that the CSV parser takes, block by block."""

from __future__ import annotations

import codecs
import re
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from babbitt.ingest.source import Problem, ReadSource, Stream, refusal

Encoding = Literal["utf-8", "utf-16-le", "utf-16-be", "cp1252"]

HEAD_BYTES = 1 << 20
"""How much of a log is looked at to decide its encoding."""

LONGEST_LINE = 1 << 24
"""Bytes; a longer line is no row of a log."""

_TAIL_BYTES = 1 << 16
"""A log's last lines, so many bytes at least, come in one block where it has as many."""

_MARKS: tuple[tuple[bytes, Encoding], ...] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_SPOKEN = {
    "utf-8": "UTF-8",
    "utf-16-le": "UTF-16, little-endian",
    "utf-16-be": "UTF-16, big-endian",
    "cp1252": "Windows-1252",
}
_TEXT_CONTROLS = b"\0\t\n\r\x0c\x1a"
"""Control bytes that text files hold: tab, line ends, form feed and the old end-of-file mark, and
zeros where the power went as they were written."""

_MOST_ZERO_RUNS = 3
"""A lost block of a disk is one run of zeros; a binary file has them everywhere."""

_zeros = re.compile(rb"\0+")


@dataclass(frozen=True)
class Block:
    """Some whole lines of a log.

    Attributes:
        data: their bytes, certainly UTF-8; lines end in LF or CRLF, the log's last perhaps in none.
        first_line: number of the first, counted from 1 in the file.
        zeros: zero bytes that stood among them and were left out.
        last: no lines follow.
    """

    data: bytes
    first_line: int
    zeros: int
    last: bool


@dataclass(frozen=True)
class Text:
    """A log's text: its body is the bytes without byte-order mark and zeros, lines ending in LF.

    Attributes:
        start: the first HEAD_BYTES of the body, or all of it.
        encoding: in which the log was written.
        body_encoding: in which the body is written: UTF-8 where the log was in UTF-16.
        why: what was decided and on what grounds, a line each.
        name: of the file, for errors.
    """

    start: bytes
    encoding: Encoding
    body_encoding: Literal["utf-8", "cp1252"]
    why: tuple[str, ...]
    name: str
    _whole: bool
    _body: Callable[[int], Iterator[tuple[bytes, int]]]

    def head(self, size: int) -> bytes:
        """Return the whole lines among the first `size` bytes; everything where that is less."""
        if len(self.start) < HEAD_BYTES and len(self.start) <= size and self._whole:
            return self.start
        return _whole_lines(self.start[:size])

    def blocks(self, offset: int, first_line: int, size: int) -> Iterator[Block]:
        """Yield the body from a line on, in blocks of about `size` bytes.

        The last block holds the last _TAIL_BYTES at least, where there are as many.

        Args:
            offset: byte of the body at which the line begins.
            first_line: its number.
            size: at least 1.

        Raises:
            LogRefusedError: a line is longer than LONGEST_LINE.
        """
        line, zeros, rest = first_line, 0, b""
        for piece, lost, last in _with_last(self._body(size), offset):
            zeros += lost
            cut = len(piece) if last else piece.rfind(b"\n") + 1
            if len(rest) + len(piece) - cut > LONGEST_LINE:
                sentence = f"line {line} has no end: export the log again"
                raise refusal(self.name, (Problem(sentence),))
            if not cut and not last:
                rest += piece
                continue
            data = b"".join((rest, memoryview(piece)[:cut]))
            rest = piece[cut:]
            yield Block(self._as_utf8(data), line, zeros, last)
            line, zeros = line + line_ends(data), 0

    def _as_utf8(self, data: bytes) -> bytes:
        if data.isascii():
            return data
        return data.decode(self.body_encoding, errors="replace").encode()


def read_text(source: ReadSource) -> Text:
    """Find the encoding and line ends of a log.

    Args:
        source: the log.

    Raises:
        LogRefusedError: the file is empty, or no text.
    """
    with closing(source.open()) as stream:
        head = _read_fully(stream, HEAD_BYTES)
    encoding, mark, how = _encoding(head)
    if not head.removeprefix(mark).strip(b"\0\t\n\r\x0c "):
        raise refusal(source.name, (Problem("the file is empty: export the log again"),))
    _refuse_binary(head, encoding, source.name)

    def body(size: int, *, lone_returns: bool = False) -> Iterator[tuple[bytes, int]]:
        with closing(source.open()) as stream:
            stream.read(len(mark))
            for piece in _decoded(_pieces(stream, size), encoding):
                kept = piece.replace(b"\r", b"\n") if lone_returns else piece
                whole = kept.replace(b"\0", b"")
                yield whole, len(kept) - len(whole)

    start = next(body(HEAD_BYTES), (b"", 0))[0]
    ending = "CRLF" if b"\r\n" in start else "LF" if b"\n" in start else "CR"
    if ending == "CR":
        start = start.replace(b"\r", b"\n")
    return Text(
        start=start[:HEAD_BYTES],
        encoding=encoding,
        body_encoding="cp1252" if encoding == "cp1252" else "utf-8",
        why=(f"Encoding: {_SPOKEN[encoding]} ({how}).", f"Line ends: {ending}."),
        name=source.name,
        _whole=len(head) < HEAD_BYTES,
        _body=lambda size: body(size, lone_returns=ending == "CR"),
    )


def line_ends(data: bytes) -> int:
    """Return how many line feeds there are: where they are many, faster than `bytes.count`."""
    return int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")))


def line_starts(body: bytes) -> npt.NDArray[np.intp]:
    """Return where each line starts that follows a line end: CR, LF or both."""
    codes = np.frombuffer(body, dtype=np.uint8)
    feeds, returns = codes == ord("\n"), codes == ord("\r")
    returns[:-1] &= ~feeds[1:]
    return np.flatnonzero(feeds | returns) + 1


def _pieces(stream: Stream, size: int) -> Iterator[bytes]:
    while piece := _read_fully(stream, size):
        yield piece


def _read_fully(stream: Stream, size: int) -> bytes:
    """Read `size` bytes, or what is left; a stream may give less at a time."""
    data = stream.read(size)
    while 0 < len(data) < size and (more := stream.read(size - len(data))):
        data += more
    return data


def _decoded(pieces: Iterator[bytes], encoding: Encoding) -> Iterator[bytes]:
    """Yield the pieces in UTF-8 where they are in UTF-16, else as they are."""
    if not encoding.startswith("utf-16"):
        yield from pieces
        return
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    for piece in pieces:
        yield decoder.decode(piece).encode(errors="replace")
    yield decoder.decode(b"", final=True).encode(errors="replace")


def _with_last(
    pieces: Iterator[tuple[bytes, int]], offset: int
) -> Iterator[tuple[bytes, int, bool]]:
    """Yield the pieces from byte `offset` on, each with whether it is the last.

    Pieces are held back until as much as _TAIL_BYTES follows; the rest is yielded as one.
    """
    waiting: deque[tuple[bytes, int]] = deque()
    skip, behind = offset, 0
    for piece, lost in pieces:
        kept = piece[skip:] if skip else piece
        skip -= len(piece) - len(kept)
        waiting.append((kept, lost))
        behind += len(kept)
        while len(waiting) > 1 and behind - len(waiting[0][0]) >= _TAIL_BYTES:
            first, zeros = waiting.popleft()
            behind -= len(first)
            yield first, zeros, False
    yield b"".join(piece for piece, _ in waiting), sum(lost for _, lost in waiting), True


def _encoding(head: bytes) -> tuple[Encoding, bytes, str]:
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, mark, "the file says so with a byte-order mark"
    even, odd = head[0:4096:2].count(0), head[1:4096:2].count(0)
    half = min(len(head), 4096) // 2
    if odd > 0.4 * half and even < 0.1 * half:
        return "utf-16-le", b"", "every second byte is zero"
    if even > 0.4 * half and odd < 0.1 * half:
        return "utf-16-be", b"", "every first byte of two is zero"
    whole = head if len(head) < HEAD_BYTES else _whole_lines(head)
    if whole.isascii():
        return "utf-8", b"", "plain ASCII, which is the same in all"
    try:
        whole.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", b"", "some bytes are not UTF-8"
    return "utf-8", b"", "all bytes are valid UTF-8"


def _refuse_binary(head: bytes, encoding: Encoding, name: str) -> None:
    if encoding.startswith("utf-16"):
        return
    controls = sum(head.count(byte) for byte in range(32) if byte not in _TEXT_CONTROLS)
    zero_runs = len(_zeros.findall(head)) if b"\0" in head else 0
    if zero_runs > _MOST_ZERO_RUNS or controls > len(head) // 100:
        sentence = (
            "the file is binary, not text: export the log as CSV from the logger's own software"
        )
        raise refusal(name, (Problem(sentence),))


def _whole_lines(head: bytes) -> bytes:
    """Cut the last, unfinished line off."""
    return head[: max(head.rfind(b"\n"), head.rfind(b"\r")) + 1] or head
