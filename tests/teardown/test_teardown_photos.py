"""Photos: the picture is kept, upright, and nothing else of the file."""

from __future__ import annotations

import contextlib
import hashlib
import io
import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, PngImagePlugin

from babbitt.errors import RegisterError
from babbitt.teardown import photos
from babbitt.teardown.photos import MAX_BYTES, prepare_photo

RED, BLUE = (200, 30, 30), (30, 30, 200)
SECRET = b"51 deg 30 min N"
LEFT_OF_UPRIGHT = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""Exif orientation -> how a camera that writes it turned the upright picture."""


def upright() -> Image.Image:
    """A picture of 48 x 32 with a blue upper left quarter on red."""
    picture = Image.new("RGB", (48, 32), RED)
    picture.paste(BLUE, (0, 0, 24, 16))
    return picture


def located(orientation: int = 1) -> Image.Exif:
    """Exif with a place, a time and a camera in it."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "invented"
    exif[ExifTags.Base.DateTime] = "2026:06:28 10:00:00"
    exif[ExifTags.IFD.GPSInfo] = {
        ExifTags.GPS.GPSLatitudeRef: "N",
        ExifTags.GPS.GPSLatitude: (51.0, 30.0, 0.0),
        ExifTags.GPS.GPSAreaInformation: SECRET,
    }
    return exif


def encoded(picture: Image.Image, kind: str, **options) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def jpeg(orientation: int = 1) -> bytes:
    picture = upright()
    if LEFT_OF_UPRIGHT[orientation] is not None:
        picture = picture.transpose(LEFT_OF_UPRIGHT[orientation])
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + SECRET + b"</x:xmpmeta>"
    data = encoded(
        picture,
        "JPEG",
        quality=95,
        subsampling=0,
        exif=located(orientation),
        xmp=xmp,
        comment=SECRET,
        icc_profile=SECRET,
    )
    return data + SECRET  # some cameras append to the file


def png(picture: Image.Image | None = None) -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Location", SECRET.decode())
    text.add_itxt("XML:com.adobe.xmp", SECRET.decode())
    return encoded(picture or upright(), "PNG", exif=located(), pnginfo=text, dpi=(300, 300))


def opened(data: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(data))
    picture.load()
    return picture


def jpeg_segments(data: bytes) -> list[int]:
    """The markers of a JPEG, up to the start of its scan."""
    markers, at = [], 2
    while data[at + 1] != 0xDA:
        markers.append(data[at + 1])
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    return markers


def png_chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    chunks, at = [], 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        chunks.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
        at += 12 + length
    return chunks


def png_of(chunks: list[tuple[bytes, bytes]]) -> bytes:
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )


def refusal_of(data: bytes) -> str:
    with pytest.raises(RegisterError) as refused:
        prepare_photo(data, name="shell.jpg")
    return str(refused.value)


@pytest.mark.parametrize("data", [jpeg(), png()], ids=["jpeg", "png"])
def test_nothing_but_the_picture_is_kept(data) -> None:
    assert SECRET in data
    assert ExifTags.IFD.GPSInfo in opened(data).getexif()
    photo = prepare_photo(data, name="shell.jpg")
    for kept in (photo.data, photo.thumbnail):
        assert SECRET not in kept
        assert b"invented" not in kept
        assert not opened(kept).getexif()


def test_a_kept_jpeg_has_no_segment_of_metadata() -> None:
    photo = prepare_photo(jpeg(), name="shell.jpg")
    for kept in (photo.data, photo.thumbnail):
        tables_and_frame = {0xDB, 0xC0, 0xC4}
        jfif = 0xE0
        assert set(jpeg_segments(kept)) == tables_and_frame | {jfif}
        assert kept.endswith(b"\xff\xd9")


def test_a_kept_png_has_only_the_chunks_of_its_picture() -> None:
    kept = prepare_photo(png(), name="shell.png").data
    assert {kind for kind, _ in png_chunks(kept)} == {b"IHDR", b"IDAT", b"IEND"}


@pytest.mark.parametrize("orientation", LEFT_OF_UPRIGHT)
def test_a_picture_is_brought_upright(orientation) -> None:
    photo = prepare_photo(jpeg(orientation), name="shell.jpg")
    for kept in (opened(photo.data), opened(photo.thumbnail)):
        assert kept.size == (48, 32)
        corners = [kept.getpixel(at) for at in ((6, 6), (42, 6), (6, 26), (42, 26))]
        for corner, colour in zip(corners, (BLUE, RED, RED, RED), strict=True):
            assert corner == pytest.approx(colour, abs=12)
    assert (photo.width, photo.height) == (48, 32)


def test_a_photo_is_named_by_the_hash_of_what_is_kept() -> None:
    photo = prepare_photo(jpeg(), name="shell.png")
    assert photo.sha256 == hashlib.sha256(photo.data).hexdigest()
    assert photo.file_name == f"{photo.sha256}.jpg"
    assert prepare_photo(png(), name="shell.jpg").suffix == ".png"


@pytest.mark.parametrize("data", [jpeg(), png()], ids=["jpeg", "png"])
def test_the_same_file_gives_the_same_bytes(data) -> None:
    assert prepare_photo(data, name="a") == prepare_photo(data, name="b")


def test_a_png_loses_nothing_of_its_picture() -> None:
    kept = opened(prepare_photo(png(), name="shell.png").data)
    assert kept.tobytes() == upright().tobytes()


@pytest.mark.parametrize(
    ("size", "thumbnail"),
    [
        ((800, 400), (320, 160)),
        ((300, 900), (107, 320)),
        ((20, 10), (20, 10)),
        ((900, 1), (320, 1)),
    ],
)
def test_a_thumbnail_keeps_the_proportions_and_is_never_larger(size, thumbnail) -> None:
    photo = prepare_photo(encoded(Image.new("RGB", size, RED), "JPEG"), name="shell.jpg")
    assert opened(photo.data).size == size
    assert opened(photo.thumbnail).size == thumbnail


@pytest.mark.parametrize(
    ("mode", "kept"),
    [("1", "L"), ("L", "L"), ("LA", "RGBA"), ("P", "RGB"), ("RGB", "RGB"), ("RGBA", "RGBA")],
)
def test_every_sort_of_png_is_taken(mode, kept) -> None:
    photo = prepare_photo(encoded(upright().convert(mode), "PNG"), name="shell.png")
    assert opened(photo.data).mode == kept
    assert opened(photo.thumbnail).mode in ("L", "RGB")


def test_a_grey_png_of_sixteen_bits_keeps_its_shades() -> None:
    deep = Image.new("I;16", (3, 1))
    for x, level in enumerate((0, 32_896, 65_535)):
        deep.putpixel((x, 0), level)
    kept = opened(prepare_photo(encoded(deep, "PNG"), name="shell.png").data)
    assert [kept.getpixel((x, 0)) for x in range(3)] == [0, 128, 255]


def test_what_is_clear_is_white_in_the_thumbnail() -> None:
    clear = encoded(Image.new("RGBA", (40, 40), (0, 0, 0, 0)), "PNG")
    thumbnail = opened(prepare_photo(clear, name="shell.png").thumbnail)
    assert thumbnail.getpixel((20, 20)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["L", "CMYK"])
def test_grey_and_print_jpegs_are_taken(mode) -> None:
    photo = prepare_photo(encoded(upright().convert(mode), "JPEG"), name="shell.jpg")
    assert opened(photo.data).mode == ("L" if mode == "L" else "RGB")


def test_only_the_first_picture_of_a_file_of_several_is_kept() -> None:
    several = encoded(
        upright(), "MPO", save_all=True, append_images=[Image.new("RGB", (48, 32))], exif=located()
    )
    photo = prepare_photo(several, name="shell.jpg")
    assert photo.data.count(b"\xff\xd8\xff") == 1
    assert opened(photo.data).getpixel((42, 26)) == pytest.approx(RED, abs=12)


def disordered_jpeg() -> bytes:
    data = jpeg()
    at = data.index(b"Exif\0\0") + 6
    return data[: at + 4] + b"\xff" * 12 + data[at + 16 :]


def disordered_png() -> bytes:
    header, *rest = [chunk for chunk in png_chunks(png()) if chunk[0] != b"eXIf"]
    return png_of([header, (b"eXIf", b"MM\0*\0\0"), *rest])


@pytest.mark.parametrize("data", [disordered_jpeg(), disordered_png()], ids=["jpeg", "png"])
def test_disordered_metadata_is_no_reason_to_refuse_a_picture(data) -> None:
    photo = prepare_photo(data, name="shell.jpg")
    assert (photo.width, photo.height) == (48, 32)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"%PDF-1.7",
        encoded(upright(), "GIF"),
        encoded(upright(), "TIFF"),
        b"<svg/>",
        b"\xff\xd8",
    ],
    ids=["empty", "pdf", "gif", "tiff", "svg", "too short"],
)
def test_what_is_no_jpeg_or_png_is_refused(data) -> None:
    assert refusal_of(data) == "shell.jpg is no JPEG or PNG photo: save it as one of them."


def png_without_its_palette() -> bytes:
    coded = png_chunks(encoded(upright().quantize(2), "PNG"))
    return png_of([chunk for chunk in coded if chunk[0] != b"PLTE"])


def png_of_half_a_header() -> bytes:
    (kind, header), *rest = png_chunks(png())
    return png_of([(kind, header[:6]), *rest])


@pytest.mark.parametrize(
    "data",
    [
        jpeg()[:-600],
        png()[:-60],
        png_without_its_palette(),
        png_of_half_a_header(),
        b"\xff\xd8\xff\xe0 text",
        b"\x89PNG\r\n\x1a\n text",
    ],
    ids=[
        "cut jpeg",
        "cut png",
        "no palette",
        "half a header",
        "jpeg in name only",
        "png in name only",
    ],
)
def test_a_broken_photo_is_refused(data) -> None:
    assert refusal_of(data) == (
        "shell.jpg begins as a photo and is broken further on: copy it from the camera again."
    )


def test_a_photo_of_too_many_bytes_is_refused() -> None:
    data = jpeg()
    assert refusal_of(data + bytes(MAX_BYTES + 1 - len(data))) == (
        "shell.jpg has 25.0 MB and a photo may have 25: save it smaller."
    )


def test_a_small_file_that_unfolds_to_a_vast_picture_is_refused_unread(monkeypatch) -> None:
    chunks = dict(png_chunks(png()))
    chunks[b"IHDR"] = struct.pack(">II", 60_000, 60_000) + chunks[b"IHDR"][8:]
    monkeypatch.setattr(photos.PngImageFile, "load", lambda _: pytest.fail("was unfolded"))
    assert refusal_of(png_of(list(chunks.items()))) == (
        "shell.jpg has 60000 x 60000 pixels and a photo may have 60 million: save it smaller."
    )


@given(
    st.sampled_from([jpeg(6), png()]),
    st.lists(st.tuples(st.integers(0, 2000), st.integers(0, 255)), max_size=4),
    st.integers(0, 5000),
)
@settings(deadline=None, max_examples=150)
def test_a_damaged_photo_is_taken_or_refused(data, damages, length) -> None:
    damaged = bytearray(data)
    for at, byte in damages:
        damaged[at % len(damaged)] = byte
    with contextlib.suppress(RegisterError):
        assert SECRET not in prepare_photo(bytes(damaged[:length]), name="shell.jpg").data


@given(st.integers(0, 4), st.binary(max_size=40))
@settings(deadline=None, max_examples=100)
def test_a_png_whose_chunks_are_sound_and_whose_content_is_not_is_taken_or_refused(
    which, body
) -> None:
    chunks = png_chunks(png())
    chunks[which] = (chunks[which][0], body)
    with contextlib.suppress(RegisterError):
        assert SECRET not in prepare_photo(png_of(chunks), name="shell.png").data
