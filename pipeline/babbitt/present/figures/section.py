"""An engine as a plain section: drawn for finding its parts, not to scale.

The cylinders stand in a row, whatever the engine; each has the same parts, so that one row of the
drawing is one kind of part, and its name stands at the end of the row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from babbitt.model.damage_modes import grades, parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.present.figures.ink import FONT, Ink
from babbitt.present.figures.section_lines import (
    HEIGHT,
    MAIN,
    MARGIN,
    PITCH,
    TOP,
    castings,
    centre,
    crank,
    crank_pin,
    cylinder,
    hair,
    main_journal,
    text,
    turbo,
    turbo_centre,
)

Spot = tuple[str, str]
"""Kind of part, and its position; "" for a part of which there is one."""


@dataclass(frozen=True)
class Place:
    """Where a part lies in the drawing.

    Attributes:
        part: its kind.
        position: of model/positions.py; "": there is one.
        x: of its left edge.
        y: of its upper edge.
        width: at least 24, to point at.
        height: at least 24.
    """

    part: str
    position: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Section:
    """A drawn engine.

    Attributes:
        svg: the drawing, a document that needs nothing else.
        width: of the drawing.
        height: of the drawing.
        places: of its parts, from the front, each cylinder from the top down.
    """

    svg: str
    width: int
    height: int
    places: tuple[Place, ...]


def draw_section(
    layout: EngineLayout,
    ink: Ink,
    *,
    found: Mapping[Spot, int] | None = None,
    likely: frozenset[Spot] = frozenset(),
    chosen: Spot | None = None,
) -> Section:
    """Draw an engine.

    Args:
        layout: of the engine.
        ink: the colours.
        found: grades, marked where they were found.
        likely: parts that are tinted: where to look first.
        chosen: the part that is outlined.
    """
    width = 2 * MARGIN + layout.cylinders * PITCH
    places = [place for n in range(layout.cylinders) for place in _of_cylinder(n, layout)]
    places += _of_crank(layout)
    places += _single(width, layout)
    found = found or {}
    body = [
        f'<rect width="{width}" height="{HEIGHT}" fill="{ink.paper}" stroke="none"/>',
        *(_tint(place, ink) for place in places if (place.part, place.position) in likely),
        *castings(width, ink),
        *(line for n in range(layout.cylinders) for line in cylinder(n, layout, ink)),
        *crank(layout, ink),
        *turbo(width, ink),
        *_names(width, layout, ink),
        *(
            _mark(place, found[place.part, place.position], ink)
            for place in places
            if (place.part, place.position) in found
        ),
        *(_outline(place, ink) for place in places if (place.part, place.position) == chosen),
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {HEIGHT}" width="{width}" '
        f'height="{HEIGHT}" fill="none" stroke="{ink.ink}" stroke-width="1.3" '
        f'stroke-linejoin="round" stroke-linecap="round" font-family="{escape(FONT)}">'
        f"{''.join(body)}</svg>"
    )
    return Section(svg, width, HEIGHT, tuple(places))


def _of_cylinder(n: int, layout: EngineLayout) -> list[Place]:
    x, at = centre(n), str(n + 1)
    pin = crank_pin(n, layout)
    crown = pin - 150
    left, right = x - 48, x + 4

    def row(name: str, x: float, y: float, width: float = 44, height: float = 26) -> Place:
        return Place(name, at, x, y, width, height)

    return [
        row("cam_lobe", left, TOP),
        row("follower", right, TOP),
        row("rocker", left, TOP + 28, 96, 24),
        row("keeper", left, TOP + 54),
        row("valve_retainer", right, TOP + 54),
        row("valve_spring", left, TOP + 82, 44, 30),
        row("valve_stem_seal", right, TOP + 82, 44, 30),
        row("intake_valve", left, TOP + 114, 44, 32),
        row("exhaust_valve", right, TOP + 114, 44, 32),
        row("valve_seat", left, TOP + 148, 96, 24),
        row("piston_crown", left, crown, 96, 24),
        row("ring_land", left, crown + 26),
        row("ring", right, crown + 26),
        row("piston_skirt", left, crown + 54, 44, 30),
        row("piston_pin", right, crown + 54, 44, 30),
        row("rod", x - 20, crown + 86, 40, 42),
        row("rod_bearing", x - 23, pin - 21, 44, 24),
        row("rod_bolt", x + 22, pin - 18, 26, 38),
    ]


def _of_crank(layout: EngineLayout) -> list[Place]:
    found = []
    for n in range(layout.main_journals):
        x = main_journal(n, layout) - 14
        found.append(Place("main_bearing", str(n + 1), x, MAIN - 28, 28, 27))
        found.append(Place("main_journal", str(n + 1), x, MAIN + 1, 28, 27))
    for n in range(layout.crankpins):
        first = n * layout.rods_per_crankpin
        # Below the big end, or between the two that share it.
        x = centre(first) + (PITCH / 2 - 14 if layout.rods_per_crankpin > 1 else -23)
        found.append(Place("crankpin", str(n + 1), x, crank_pin(first, layout) + 4, 44, 24))
    return found


def _single(width: int, layout: EngineLayout) -> list[Place]:
    right = width - MARGIN
    x, y = turbo_centre(width)
    return [
        *_of_banks(right, layout.banks),
        Place("crankshaft", "", MARGIN - 58, MAIN - 15, 40, 30),
        Place("turbo_bearing", "compressor", x - 29, y - 15, 28, 30),
        Place("turbo_bearing", "turbine", x + 1, y - 15, 28, 30),
    ]


def _of_banks(right: int, banks: tuple[str, ...]) -> list[Place]:
    if not banks:
        return [
            Place("cylinder_head", "", right + 2, TOP + 82, 28, 82),
            Place("head_gasket", "", MARGIN - 30, TOP + 170, 28, 24),
        ]
    found = []
    for n, bank in enumerate(banks):
        found.append(Place("cylinder_head", bank, right + 2, TOP + 82 + 42 * n, 28, 40))
        found.append(Place("head_gasket", bank, (MARGIN - 30, right + 2)[n], TOP + 170, 28, 24))
    return found


def _names(width: int, layout: EngineLayout, ink: Ink) -> list[str]:
    """Write the names of the rows at both ends, with a hair to the outermost part."""
    rear = layout.cylinders - 1
    first, last = _of_cylinder(0, layout), _of_cylinder(rear, layout)
    outer_left = MARGIN - 38
    named = []
    at_right = ("piston_crown", "rod")  # reach both ends, as others do, and keep the left end free
    for place in first:
        if place.x < centre(0) - 21 and place.part not in at_right:
            named.append((place.part, place.y + place.height / 2, True))
    for place in last:
        if place.x > centre(rear) or place.part in at_right:
            named.append((place.part, place.y + place.height / 2, False))
    lines = []
    for part, y, at_left in named:
        title = _SHORT.get(part, parts()[part].title)
        if at_left:
            lines.append(text(outer_left - 4, y + 4, title, ink.secondary, anchor="end"))
            lines.append(hair(outer_left, centre(0) - 48, y, ink))
        else:
            outer_right = width - MARGIN + 38
            lines.append(text(outer_right + 4, y + 4, title, ink.secondary))
            lines.append(hair(centre(rear) + 48, outer_right, y, ink))
    left = MARGIN - 38
    for words, y in (("gasket", TOP + 186), ("crankpin", MAIN - 15), ("oil pump", MAIN + 84)):
        lines.append(text(left - 4, y, words, ink.secondary, anchor="end"))
    lines.append(text(MARGIN - 62, MAIN + 4, "crank", ink.secondary, anchor="end"))
    x, y = turbo_centre(width)
    lines.append(text(x - 48, y + 38, "compressor", ink.secondary))
    lines.append(text(x + 48, y - 26, "turbine", ink.secondary, anchor="end"))
    end = width - MARGIN + 42
    for words, y in (("head", TOP + 162), ("main bearing", MAIN - 4), ("main journal", MAIN + 12)):
        lines.append(text(end, y, words, ink.secondary))
    return lines


_SHORT = {
    "valve_retainer": "retainer",
    "valve_spring": "spring",
    "valve_stem_seal": "stem seal",
    "valve_seat": "seat",
    "cam_lobe": "cam lobe",
    "follower": "follower",
    "piston_skirt": "skirt",
    "piston_crown": "crown",
    "piston_pin": "pin",
    "ring": "ring",
    "rod": "rod",
    "keeper": "keeper",
}
"""Names that are plain from where they stand."""


def _tint(place: Place, ink: Ink) -> str:
    return _box(place, f'fill="{ink.faded(ink.harm, 0.16)}" stroke="none"')


def _outline(place: Place, ink: Ink) -> str:
    return _box(place, f'stroke="{ink.ink}" stroke-width="2.4" rx="3"')


def _box(place: Place, look: str) -> str:
    return (
        f'<rect x="{place.x}" y="{place.y}" width="{place.width}" height="{place.height}" {look}/>'
    )


def _mark(place: Place, grade: int, ink: Ink) -> str:
    """Draw the grade in a disc: filled where it counts as damage."""
    x, y = place.x + place.width - 9, place.y + place.height / 2
    harm = grades()[grade].damaged
    ground, words, edge = (
        (ink.harm, ink.paper, ink.harm) if harm else (ink.paper, ink.ink, ink.secondary)
    )
    return (
        f'<circle cx="{x}" cy="{y}" r="8.5" fill="{ground}" stroke="{edge}"/>'
        f'<text x="{x}" y="{y + 4}" font-size="12" font-weight="650" text-anchor="middle" '
        f'fill="{words}" stroke="none">{grade}</text>'
    )
