"""Photos of findings: checked, freed of all but the picture, and made small to show."""

from __future__ import annotations

import hashlib
import io
import re
import struct
import warnings
from dataclasses import dataclass
from typing import Literal

from PIL import ExifTags, Image
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile

from babbitt.errors import RegisterError

MAX_BYTES = 25_000_000
MAX_PIXELS = 60_000_000
THUMBNAIL_PIXELS = 320
"""Longest side of a thumbnail."""

Suffix = Literal[".jpg", ".png"]

_JPEG_QUALITY = 92
_THUMBNAIL_QUALITY = 80

_READERS: dict[bytes, type[JpegImageFile] | type[PngImageFile]] = {
    b"\xff\xd8\xff": JpegImageFile,
    b"\x89PNG\r\n\x1a\n": PngImageFile,
}
"""What a file begins with -> what reads it."""

_MOST_SCANS = 100
"""A JPEG may hold its picture in no more layers, each of which takes as long to read as a whole
picture: cameras write up to a dozen (from memory)."""

_SCAN, _END = 0xDA, 0xD9
_BARE = frozenset((0x01, *range(0xD0, 0xD9)))
"""Codes of markers of a JPEG that nothing follows."""
_MARKER = re.compile(rb"\xff([\x01-\xcf\xd8-\xfe])")
"""What ends the coded part of a scan: any marker but those within it (ITU-T T.81, B.1.1)."""

_BROKEN = (AssertionError, OSError, SyntaxError, ValueError)
"""What the readers raise at a file that is not what it begins as."""

_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""Exif orientation -> what brings the picture upright; 1 is upright."""


@dataclass(frozen=True)
class Photo:
    """A photo as the logbook keeps it: nothing in it but the picture.

    Attributes:
        sha256: of `data`.
        data: the JPEG or PNG file.
        suffix: of its file name.
        width: in pixels, upright.
        height: in pixels, upright.
        thumbnail: a JPEG of the same picture, at most `THUMBNAIL_PIXELS` a side.
    """

    sha256: str
    data: bytes
    suffix: Suffix
    width: int
    height: int
    thumbnail: bytes

    @property
    def file_name(self) -> str:
        """What the photo is kept as, and what a recorded finding lists it as."""
        return f"{self.sha256}{self.suffix}"


def prepare_photo(data: bytes, *, name: str) -> Photo:
    """Make a photo fit to keep: upright, and without place, time, camera or other metadata.

    The picture is written anew, a JPEG with a loss too small to see, in the colours of a file
    without a colour profile (sRGB). The same file gives the same bytes under one version of the
    image library.

    Args:
        data: a JPEG or PNG file; what it is, its content says, not its name.
        name: of the file, for errors.

    Raises:
        RegisterError: it is neither, is broken, or is larger than `MAX_BYTES` or `MAX_PIXELS`.
    """
    if len(data) > MAX_BYTES:
        raise RegisterError(
            f"{name} has {len(data) / 1e6:.1f} MB and a photo may have {MAX_BYTES / 1e6:.0f}: "
            "save it smaller."
        )
    reader = next((reader for mark, reader in _READERS.items() if data.startswith(mark)), None)
    if reader is None:
        raise RegisterError(f"{name} is no JPEG or PNG photo: save it as one of them.")
    if reader is JpegImageFile and _scans(data) > _MOST_SCANS:
        raise RegisterError(
            f"{name} holds its picture in more than {_MOST_SCANS} layers, as no camera writes it: "
            "save it anew."
        )
    try:
        with warnings.catch_warnings():
            # Metadata that is out of order is no matter: all of it goes.
            warnings.simplefilter("ignore")
            picture = _read(reader(io.BytesIO(data)), name)
    except _BROKEN as error:
        raise RegisterError(
            f"{name} begins as a photo and is broken further on: copy it from the camera again."
        ) from error
    suffix: Suffix = ".jpg" if reader is JpegImageFile else ".png"
    kept = _as_jpeg(picture, _JPEG_QUALITY) if suffix == ".jpg" else _as_png(picture)
    return Photo(
        sha256=hashlib.sha256(kept).hexdigest(),
        data=kept,
        suffix=suffix,
        width=picture.width,
        height=picture.height,
        thumbnail=_as_jpeg(_thumbnail(picture), _THUMBNAIL_QUALITY),
    )


def _read(source: JpegImageFile | PngImageFile, name: str) -> Image.Image:
    """Return the picture upright, in grey, RGB or RGBA, and without metadata."""
    if source.width * source.height > MAX_PIXELS:
        raise RegisterError(
            f"{name} has {source.width} x {source.height} pixels and a photo may have "
            f"{MAX_PIXELS / 1e6:.0f} million: save it smaller."
        )
    source.load()
    picture = _in_plain_mode(source)
    turn = _UPRIGHT.get(_orientation(source))
    if turn is not None:
        picture = picture.transpose(turn)
    picture.info.clear()
    return picture


def _scans(data: bytes) -> int:
    """Count the scans of a JPEG up to its end; what comes behind belongs to no picture."""
    count, at = 0, 2
    while (found := _MARKER.search(data, at)) is not None and found[1][0] != _END:
        code, at = found[1][0], found.end()
        count += code == _SCAN
        if code not in _BARE:
            at += int.from_bytes(data[at : at + 2], "big")
    return count


def _orientation(source: JpegImageFile | PngImageFile) -> int:
    """Return the Exif orientation; 1, upright, where there is none to be read."""
    try:
        orientation = source.getexif().get(ExifTags.Base.Orientation)
    except (*_BROKEN, struct.error):
        return 1
    return orientation if isinstance(orientation, int) else 1


def _in_plain_mode(source: Image.Image) -> Image.Image:
    if source.mode == "I;16":
        return source.point(lambda level: level / 257).convert("L")
    if source.has_transparency_data:
        return source.convert("RGBA")
    return source.convert("L" if source.mode in ("1", "L") else "RGB")


def _thumbnail(picture: Image.Image) -> Image.Image:
    small = picture.copy()
    small.thumbnail((THUMBNAIL_PIXELS, THUMBNAIL_PIXELS), Image.Resampling.LANCZOS)
    if small.mode == "RGBA":
        white = Image.new("RGBA", small.size, "white")
        return Image.alpha_composite(white, small).convert("RGB")
    return small


def _as_jpeg(picture: Image.Image, quality: int) -> bytes:
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality)
    return file.getvalue()


def _as_png(picture: Image.Image) -> bytes:
    file = io.BytesIO()
    picture.save(file, "PNG")
    return file.getvalue()
