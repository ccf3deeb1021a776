"""The two photos of the record: plain drawings, made here, of a bearing shell and a valve seat."""

from __future__ import annotations

import io
import math

from PIL import Image, ImageDraw, ImageFont

SIZE = (480, 360)
FINER = 3  # drawn so much larger, then reduced: smooth edges
LABEL = "drawn by a script, invented"
QUALITY = 85

BENCH = (74, 78, 84)
DARK = (38, 36, 36)
STEEL = (150, 152, 156)


def bearing_shell() -> Image.Image:
    """Draw a half shell from its open side: the overlay wiped over the oil hole."""
    image, draw = _sheet()
    left, top, right, bottom = 60, 90, 420, 270
    middle, radius = (left + right) / 2, (right - left) / 2
    draw.rectangle(_scaled(left - 10, top, right + 10, bottom), fill=STEEL)
    for x in range(left, right):
        # the shell curves away from the middle, and grows darker
        light = math.sqrt(max(1.0 - ((x + 0.5 - middle) / radius) ** 2, 0.0))
        shade = int(90 + 110 * light)
        draw.rectangle(_scaled(x, top, x + 1, bottom), fill=(shade, shade, shade + 6))
    for row, length in enumerate((70, 105, 120, 128, 130, 126, 118, 98, 64)):
        y = 140 + 9 * row
        bare = (150, 104, 72) if row % 2 else (126, 86, 60)
        draw.rectangle(_scaled(middle - length, y, middle + length * 0.9, y + 9), fill=bare)
        streak = length * (0.5 + 0.06 * row)
        draw.rectangle(_scaled(middle - streak, y + 4, middle + 0.8 * streak, y + 5), fill=DARK)
    draw.ellipse(_scaled(middle - 16, 164, middle + 16, 196), fill=DARK)
    draw.rectangle(_scaled(middle + 10, 172, middle + 52, 187), fill=(176, 172, 164))  # drawn over
    return _finished(image)


def valve_seat() -> Image.Image:
    """Draw a valve seat from the chamber: the blue contact ring broken over a third of the way."""
    image, draw = _sheet()
    x, y = 240, 175
    draw.ellipse(_round(x, y, 138), fill=(120, 122, 126))
    draw.ellipse(_round(x, y, 120), fill=(186, 188, 192))
    draw.ellipse(_round(x, y, 84), fill=(98, 100, 104))
    draw.arc(_round(x, y, 108), 60, 300, fill=(44, 78, 168), width=11 * FINER)
    for start, end, width in ((306, 322, 5), (338, 350, 3), (16, 30, 4), (40, 52, 6)):
        draw.arc(_round(x, y, 105), start, end, fill=(84, 108, 172), width=width * FINER)
    draw.ellipse(_round(x, y, 34), fill=(140, 122, 84))
    draw.ellipse(_round(x, y, 18), fill=DARK)
    return _finished(image)


PHOTOS = {
    "NB-01_2025-11-15_valve_seat_3": valve_seat,
    "NB-01_2026-06-16_rod_bearing_2": bearing_shell,
}
"""File name without ".jpg" -> what draws it."""


def as_jpeg(image: Image.Image) -> bytes:
    """Return the bytes of a JPEG file; the same each time."""
    file = io.BytesIO()
    image.save(file, "JPEG", quality=QUALITY)
    return file.getvalue()


def _sheet() -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", (SIZE[0] * FINER, SIZE[1] * FINER), BENCH)
    return image, ImageDraw.Draw(image)


def _scaled(left: float, top: float, right: float, bottom: float) -> tuple[float, ...]:
    return left * FINER, top * FINER, right * FINER - 1, bottom * FINER - 1


def _round(x: float, y: float, radius: float) -> tuple[float, ...]:
    return _scaled(x - radius, y - radius, x + radius, y + radius)


def _finished(image: Image.Image) -> Image.Image:
    """Reduce the drawing, and write on it what it is in letters that no font file decides."""
    small = image.resize(SIZE, Image.Resampling.BOX)
    mask = ImageFont.load_default_imagefont().getmask(LABEL, mode="1")
    letters = Image.frombytes("L", mask.size, bytes(mask))
    doubled = letters.resize((2 * letters.width, 2 * letters.height), Image.Resampling.NEAREST)
    small.paste((232, 232, 226), ((SIZE[0] - doubled.width) // 2, SIZE[1] - 40), doubled)
    return small
