"""The lines of the drawn engine: castings, valve gear, pistons, crank, turbo; see section.py."""

from __future__ import annotations

from html import escape

from babbitt.model.engine_layout import EngineLayout
from babbitt.present.figures.ink import Ink

PITCH = 128
"""From cylinder to cylinder; all lengths are px of the drawing at its own size."""
MARGIN = 140
TOP = 24
MAIN = 402
"""Height of the crank's centre line."""
HEIGHT = 500
_BORE = 100
_THROW = 26


def centre(n: int) -> float:
    """Return where the axis of cylinder `n` lies, counted from 0 at the front."""
    return MARGIN + (n + 0.5) * PITCH


def main_journal(n: int, layout: EngineLayout) -> float:
    """Middle of main journal `n`, counted from 0 at the front."""
    return MARGIN + n * PITCH * layout.rods_per_crankpin


def crank_pin(n: int, layout: EngineLayout) -> float:
    """Height of the crankpin of cylinder `n`: the outer pair stands up, the next one down."""
    pin = n // layout.rods_per_crankpin
    up = min(pin, layout.crankpins - 1 - pin) % 2 == 0
    return MAIN + (-_THROW if up else _THROW)


def turbo_centre(width: int) -> tuple[float, float]:
    """Return where the middle of the turbocharger lies, in a drawing of a width."""
    return width - MARGIN + 86, HEIGHT - 46


def castings(width: int, ink: Ink) -> list[str]:
    """Draw head, block, sump and pump, behind their parts."""
    left, right = MARGIN - 32, width - MARGIN + 32
    rule = f'stroke="{ink.secondary}"'
    gasket = TOP + 182
    return [
        f'<rect x="{left}" y="{TOP + 78}" width="{right - left}" height="92" {rule}/>',
        f'<path d="M{left} {gasket}H{right}" stroke-width="4"/>',
        (
            f'<path d="M{left} {gasket + 8}V{MAIN + 12}H{left + 12}M{right} {gasket + 8}'
            f'V{MAIN + 12}H{right - 12}M{left} {gasket + 8}H{right}" {rule}/>'
        ),
        (
            f'<path d="M{left} {MAIN + 12}V{MAIN + 44}L{left + 24} {HEIGHT - 8}'
            f'H{right - 24}L{right} {MAIN + 44}V{MAIN + 12}" {rule}/>'
        ),
        f'<path d="M{left + 16} {HEIGHT - 26}H{right - 16}" {rule} stroke-dasharray="2 4"/>',
        (
            f'<circle cx="{left - 18}" cy="{MAIN + 52}" r="13" {rule}/>'
            f'<path d="M{left - 24} {MAIN + 46}l12 12m0-12l-12 12M{left - 5} {MAIN + 58}'
            f'H{left + 60}V{HEIGHT - 16}" {rule}/>'
        ),
    ]


def cylinder(n: int, layout: EngineLayout, ink: Ink) -> list[str]:
    """Draw what belongs to one cylinder, from the cam to the big end."""
    x, pin = centre(n), crank_pin(n, layout)
    rule = f'stroke="{ink.secondary}"'
    bore = _BORE / 2
    return [
        text(x, 15, str(n + 1), ink.secondary, anchor="middle"),
        (
            f'<path d="M{x - bore} {TOP + 190}V{MAIN - 62}M{x + bore} {TOP + 190}V{MAIN - 62}" '
            f"{rule}/>"
        ),
        *_valve_gear(x),
        *(_valve(middle) for middle in (x - 26, x + 26)),
        *_piston(x, pin, ink),
    ]


def _valve_gear(x: float) -> list[str]:
    left, right = x - 26, x + 26
    return [
        (
            f'<path d="M{left - 9} {TOP + 14}a9 9 0 1 1 18 0q0 12 -9 12t-9 -12z"/>'
            f'<circle cx="{left}" cy="{TOP + 14}" r="2.5"/>'
        ),
        (
            f'<rect x="{right - 9}" y="{TOP + 4}" width="18" height="20" rx="2"/>'
            f'<path d="M{right - 9} {TOP + 10}h18"/>'
        ),
        (
            f'<path d="M{left - 14} {TOP + 36}q14 -6 26 0l24 6q10 2 14 -2"/>'
            f'<path d="M{left - 14} {TOP + 36}v6q14 -4 26 2l24 5q12 2 14 -3v-6"/>'
            f'<circle cx="{x}" cy="{TOP + 43}" r="3"/>'
        ),
    ]


def _valve(x: float) -> str:
    """Draw keeper, retainer, spring, seal, valve and seat of one valve."""
    y = TOP + 56
    coils = "".join(f"l{18 if n % 2 else -18} 5.6" for n in range(5))
    return (
        f'<path d="M{x - 4} {y}l1.5 12M{x + 4} {y}l-1.5 12"/>'
        f'<path d="M{x - 13} {y + 12}h26l-3 6h-20z"/>'
        f'<path d="M{x + 9} {y + 20}{coils}"/>'
        f'<rect x="{x - 5}" y="{y + 42}" width="10" height="8" rx="2"/>'
        f'<path d="M{x - 1.8} {y}V{y + 96}M{x + 1.8} {y}V{y + 96}"/>'
        f'<path d="M{x - 1.8} {y + 96}q-3 8 -16 11v4h35.6v-4q-13 -3 -16 -11"/>'
        f'<path d="M{x - 20} {y + 102}l6 8M{x + 20} {y + 102}l-6 8" stroke-width="2.6"/>'
    )


def _piston(x: float, pin: float, ink: Ink) -> list[str]:
    crown, half = pin - 150, _BORE / 2 - 3
    wrist = crown + 69
    return [
        (
            f'<path d="M{x - half} {crown + 84}V{crown + 8}q{half} -8 {2 * half} 0V{crown + 84}'
            f'h-20v-14h-{2 * half - 40}v14z" fill="{ink.paper}" fill-opacity="0"/>'
        ),
        *(
            f'<path d="M{x - half - 2} {crown + y}h8M{x + half + 2} {crown + y}h-8M{x - half} '
            f'{crown + y}h{2 * half}" stroke-width="{thick}"/>'
            for y, thick in ((30, 2.4), (39, 2.4), (48, 1.2))
        ),
        f'<circle cx="{x}" cy="{wrist}" r="10"/><circle cx="{x}" cy="{wrist}" r="5"/>',
        (
            f'<path d="M{x - 7} {wrist + 10}L{x - 12} {pin - 20}M{x + 7} {wrist + 10}'
            f'L{x + 12} {pin - 20}"/>'
        ),
        (
            f'<circle cx="{x}" cy="{pin}" r="21"/>'
            f'<circle cx="{x}" cy="{pin}" r="15" stroke-width="2.6"/>'
        ),
        (
            f'<path d="M{x - 32} {pin - 15}V{pin + 18}M{x + 32} {pin - 15}V{pin + 18}" '
            f'stroke-width="3"/><path d="M{x - 37} {pin + 18}h10M{x + 27} {pin + 18}h10'
            f'M{x - 37} {pin}h16M{x + 21} {pin}h16"/>'
        ),
    ]


def crank(layout: EngineLayout, ink: Ink) -> list[str]:
    """Draw crank, webs and main bearings."""
    right = MARGIN + layout.cylinders * PITCH
    lines = [
        (
            f'<path d="M{MARGIN - 58} {MAIN - 14}h14v28h-14z'
            f'M{MARGIN - 44} {MAIN - 8}H{MARGIN - 20}M{MARGIN - 44} {MAIN + 8}H{MARGIN - 20}"/>'
        ),
        f'<path d="M{right + 12} {MAIN - 8}h20v16h-20"/>',
    ]
    for n in range(layout.main_journals):
        main = main_journal(n, layout)
        lines.append(
            f'<path d="M{main - 12} {MAIN - 22}h24v8h-24zM{main - 12} {MAIN + 14}h24v8h-24z" '
            f'fill="{ink.rules}"/><rect x="{main - 14}" y="{MAIN - 14}" width="28" height="28"/>'
        )
    for n in range(layout.cylinders):
        x, pin = centre(n), crank_pin(n, layout)
        inner = -1 if n % layout.rods_per_crankpin else 1
        if layout.rods_per_crankpin > 1 and inner == 1:
            lines.append(f'<path d="M{x + 41} {pin - 12}h46M{x + 41} {pin + 12}h46"/>')
        for side in (-1, 1):
            if layout.rods_per_crankpin > 1 and side == inner:
                continue  # the pin goes on to the next rod
            web, journal = x + side * 41, x + side * (PITCH / 2 - 14)
            lines.append(
                f'<path d="M{journal} {MAIN - 12}L{web} {pin - 12}V{pin + 12}L{journal} '
                f'{MAIN + 12}" stroke="{ink.secondary}"/>'
            )
    return lines


def turbo(width: int, ink: Ink) -> list[str]:
    """Draw the turbocharger."""
    x, y = turbo_centre(width)
    return [
        f'<path d="M{x - 48} {y}h96" stroke-width="3"/>',
        f'<rect x="{x - 30}" y="{y - 15}" width="60" height="30" stroke="{ink.secondary}"/>',
        f'<path d="M{x - 32} {y}l-6 -10l-10 -14v48l10 -14z"/>',
        f'<path d="M{x + 32} {y}l6 -10l10 -14v48l-10 -14z"/>',
        *(
            f'<path d="M{x + at} {y - 6}h12v4h-12zM{x + at} {y + 2}h12v4h-12z" fill="{ink.rules}"/>'
            for at in (-22, 10)
        ),
    ]


def hair(start: float, end: float, y: float, ink: Ink) -> str:
    """Draw a line from a name to its part."""
    return f'<path d="M{start} {y}H{end}" stroke="{ink.rules}" stroke-width="1"/>'


def text(x: float, y: float, words: str, colour: str, *, anchor: str = "start") -> str:
    """Write words."""
    return (
        f'<text x="{x}" y="{y}" font-size="12" text-anchor="{anchor}" fill="{colour}" '
        f'stroke="none">{escape(words)}</text>'
    )
