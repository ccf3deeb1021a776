import codecs

import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.text.decode import Text, read_text
from ingest_logs import source_of

LOG = "time,Öldruck [bar]\n0.0,1.5\n0.1,2.5\n"


def body_of(text: Text, size: int = 1 << 16) -> str:
    return b"".join(block.data for block in text.blocks(0, 1, size)).decode()


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (LOG.encode("utf-8"), "utf-8"),
        (codecs.BOM_UTF8 + LOG.encode("utf-8"), "utf-8"),
        (LOG.encode("cp1252"), "cp1252"),
        (codecs.BOM_UTF16_LE + LOG.encode("utf-16-le"), "utf-16-le"),
        (codecs.BOM_UTF16_BE + LOG.encode("utf-16-be"), "utf-16-be"),
        (LOG.encode("utf-16-le"), "utf-16-le"),
        (LOG.encode("utf-16-be"), "utf-16-be"),
    ],
    ids=["utf8", "utf8-bom", "cp1252", "utf16le-bom", "utf16be-bom", "utf16le", "utf16be"],
)
def test_encoding_is_found_and_its_mark_dropped(data: bytes, encoding: str) -> None:
    text = read_text(source_of(data))
    assert text.encoding == encoding
    assert body_of(text) == LOG


def test_letter_cut_in_two_at_the_end_of_the_head_is_still_utf8() -> None:
    line = "0.0,1.5,ö\n".encode()
    text = read_text(source_of(line * (2 * (1 << 20) // len(line))))
    assert text.encoding == "utf-8"


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends_are_found_and_carriage_returns_alone_rewritten(ending: str) -> None:
    text = read_text(source_of(LOG.replace("\n", ending).encode()))
    names = {"\n": "LF", "\r\n": "CRLF", "\r": "CR"}
    assert f"Line ends: {names[ending]}." in text.why
    assert body_of(text).splitlines() == LOG.splitlines()


@pytest.mark.parametrize("data", [b"", b"\n\n  \r\n", codecs.BOM_UTF8])
def test_empty_file_is_refused(data: bytes) -> None:
    with pytest.raises(LogRefusedError, match=r"run7\.csv: the file is empty: export"):
        read_text(source_of(data))


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04\x14\x00\x00\x00\x08\x00data and more of it",
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        b"time,rpm\n" + b"0.1,\x00\x01\x02\x00\n" * 9,
        b"\x01\x02\x03" * 100 + b"text" * 100,
    ],
    ids=["zip", "png", "nul", "control"],
)
def test_binary_file_is_refused(data: bytes) -> None:
    with pytest.raises(LogRefusedError, match=r"run7\.csv: the file is binary, not text"):
        read_text(source_of(data))


def test_old_end_of_file_mark_is_no_binary() -> None:
    assert read_text(source_of(LOG.encode() + b"\x1a")).encoding == "utf-8"
