"""Small files that unfold into large ones, and packed files that are not what they say."""

from __future__ import annotations

import gzip
import io
import struct
import tarfile
import zipfile
import zlib
from collections.abc import Iterator
from itertools import repeat

import pyarrow as pa
from PIL import Image

BLOCK = 1 << 20
GREAT = 1500
"""So many blocks unfold from a bomb: more than any process here may take."""


def blocks(pattern: bytes, count: int = GREAT) -> Iterator[bytes]:
    """Yield blocks of a pattern."""
    return repeat((pattern * (BLOCK // len(pattern) + 1))[:BLOCK], count)


def gzip_of(parts: Iterator[bytes]) -> bytes:
    file = io.BytesIO()
    with gzip.GzipFile(fileobj=file, mode="wb", compresslevel=1) as packed:
        for part in parts:
            packed.write(part)
    return file.getvalue()


def zstd_of(parts: Iterator[bytes]) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as packed:
        for part in parts:
            packed.write(part)
    return sink.getvalue().to_pybytes()


def zip_of(name: str, parts: Iterator[bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    file = io.BytesIO()
    with (
        zipfile.ZipFile(file, "w", method, compresslevel=1) as archive,
        archive.open(name, "w", force_zip64=True) as packed,
    ):
        for part in parts:
            packed.write(part)
    return file.getvalue()


def zip_that_asks_for_memory(name: str) -> bytes:
    """A zip whose only member, packed by LZMA, asks for a dictionary of 4 GB."""
    data = bytearray(zip_of(name, iter([b"time,rpm\n"]), zipfile.ZIP_LZMA))
    at = data.index(name.encode()) + len(name)
    at += struct.unpack("<H", data[28:30])[0]  # extra field
    data[at + 5 : at + 9] = struct.pack("<I", 0xFFFFFFFF)
    return bytes(data)


def png(width: int, height: int, *, depth: int = 8, colour: int = 6) -> bytes:
    """A PNG of one colour."""
    channels = {0: 1, 2: 3, 4: 2, 6: 4}[colour]
    packer = zlib.compressobj(9)
    row = b"\0" * (1 + width * channels * depth // 8)
    drawn = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", drawn), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )


def layered_jpeg(layers: int, side: int = 4000) -> bytes:
    """A JPEG that draws its last layer again and again."""
    file = io.BytesIO()
    Image.new("L", (side, side), 7).save(file, "JPEG", progressive=True)
    data = file.getvalue()
    last = data[data.rindex(b"\xff\xda") : -2]
    return data[:-2] + last * layers + b"\xff\xd9"


def tar_of(members: dict[str, bytes], kind: bytes = tarfile.REGTYPE, to: str = "") -> bytes:
    """A tar archive; members of another kind than a file lead to `to`."""
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w") as archive:
        for name, data in members.items():
            member = tarfile.TarInfo(name)
            member.type, member.linkname, member.size = kind, to, len(data)
            archive.addfile(member, io.BytesIO(data))
    return file.getvalue()
