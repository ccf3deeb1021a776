import codecs

import pyarrow as pa
import pytest

from pipeline.errors import LogRefusedError
from pipeline.ingest.text import read_text

LOG = "time,Öldruck [bar]\n0.0,1.5\n0.1,2.5\n"


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
    text = read_text(data, "a.csv")
    assert text.encoding == encoding
    assert text.body.to_pybytes().decode(text.body_encoding) == LOG


def test_letter_cut_in_two_at_the_end_of_the_head_is_still_utf8() -> None:
    line = "0.0,1.5,ö\n".encode()
    text = read_text(line * (2 * (1 << 20) // len(line)), "a.csv")
    assert text.encoding == "utf-8"


def test_plain_bytes_are_not_copied() -> None:
    data = LOG.encode("utf-8")
    assert read_text(data, "a.csv").body.address == pa.py_buffer(data).address


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends_are_found_and_carriage_returns_alone_rewritten(ending: str) -> None:
    text = read_text(LOG.replace("\n", ending).encode(), "a.csv")
    names = {"\n": "LF", "\r\n": "CRLF", "\r": "CR"}
    assert f"Line ends: {names[ending]}." in text.why
    assert text.body.to_pybytes().decode().splitlines() == LOG.splitlines()


@pytest.mark.parametrize("data", [b"", b"\n\n  \r\n", codecs.BOM_UTF8])
def test_empty_file_is_refused(data: bytes) -> None:
    with pytest.raises(LogRefusedError, match=r"a\.csv: the file is empty: export the log again\."):
        read_text(data, "a.csv")


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04\x14\x00\x00\x00\x08\x00data and more of it",
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        b"time,rpm\n0.0,1000\n0.1,\x00\x00\x00\n",
        b"\x01\x02\x03" * 100 + b"text" * 100,
    ],
    ids=["zip", "png", "nul", "control"],
)
def test_binary_file_is_refused(data: bytes) -> None:
    with pytest.raises(LogRefusedError, match=r"a\.csv: the file is binary, not text"):
        read_text(data, "a.csv")


def test_old_end_of_file_mark_is_no_binary() -> None:
    assert read_text(LOG.encode() + b"\x1a", "a.csv").encoding == "utf-8"
