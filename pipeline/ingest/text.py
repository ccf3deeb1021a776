"""Encoding and line ends: the bytes of a log, as bytes that the CSV parser takes as they are."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.ingest.source import Problem, refusal

Encoding = Literal["utf-8", "utf-16-le", "utf-16-be", "cp1252"]

HEAD_BYTES = 1 << 20
"""How much of a log is looked at to decide its encoding."""

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
_TEXT_CONTROLS = b"\t\n\r\x0c\x1a"
"""Control bytes that text files hold: tab, line ends, form feed and the old end-of-file mark."""


@dataclass(frozen=True)
class Text:
    """A log's text.

    Attributes:
        body: its bytes without a byte-order mark; ASCII means itself, lines end in LF or CRLF.
        encoding: in which the log was written.
        body_encoding: in which `body` is written: UTF-8 where the log was in UTF-16.
        why: what was decided and on what grounds, a line each.
    """

    body: pa.Buffer
    encoding: Encoding
    body_encoding: Literal["utf-8", "cp1252"]
    why: tuple[str, ...]

    def head(self, size: int) -> bytes:
        """Return the whole lines among the first `size` bytes; everything where that is less."""
        head: bytes = self.body.slice(0, min(size, self.body.size)).to_pybytes()
        return head if self.body.size <= size else _whole_lines(head)


def read_text(data: bytes | memoryview, name: str) -> Text:
    """Find the encoding and line ends of a log.

    Plain bytes are passed on without a copy; UTF-16 and lines that end in CR alone are rewritten.

    Args:
        data: the log's bytes.
        name: of the file, for errors.

    Raises:
        LogRefusedError: the file is empty, or no text.
    """
    raw = pa.py_buffer(data)
    head: bytes = raw.slice(0, min(HEAD_BYTES, raw.size)).to_pybytes()
    encoding, mark, how = _encoding(head)
    if not head.removeprefix(mark).strip():
        raise refusal(name, (Problem("the file is empty: export the log again"),))
    _refuse_binary(head, encoding, name)
    body = raw.slice(len(mark))
    if encoding.startswith("utf-16"):
        body = pa.py_buffer(body.to_pybytes().decode(encoding, errors="replace").encode())
    start: bytes = body.slice(0, min(HEAD_BYTES, body.size)).to_pybytes()
    ending = "CRLF" if b"\r\n" in start else "LF" if b"\n" in start else "CR"
    if ending == "CR":
        body = pa.py_buffer(body.to_pybytes().replace(b"\r", b"\n"))
    return Text(
        body=body,
        encoding=encoding,
        body_encoding="cp1252" if encoding == "cp1252" else "utf-8",
        why=(f"Encoding: {_SPOKEN[encoding]} ({how}).", f"Line ends: {ending}."),
    )


def line_starts(body: bytes | pa.Buffer) -> npt.NDArray[np.intp]:
    """Return where each line starts that follows a line end: CR, LF or both."""
    codes = np.frombuffer(body, dtype=np.uint8)
    feeds, returns = codes == ord("\n"), codes == ord("\r")
    returns[:-1] &= ~feeds[1:]
    return np.flatnonzero(feeds | returns) + 1


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
    if b"\0" in head or controls > len(head) // 100:
        sentence = (
            "the file is binary, not text: export the log as CSV from the logger's own software"
        )
        raise refusal(name, (Problem(sentence),))


def _whole_lines(head: bytes) -> bytes:
    """Cut the last, unfinished line off."""
    return head[: max(head.rfind(b"\n"), head.rfind(b"\r")) + 1] or head
