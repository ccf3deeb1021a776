"""Positions of parts: which of them an engine has."""

from __future__ import annotations

import re

from babbitt.errors import RegisterError
from babbitt.model.damage_modes import part_named
from babbitt.model.engine_layout import EngineLayout

TURBO_ENDS = ("compressor", "turbine")
TURBOS = ("left", "right", "front", "rear")
"""Which of two turbochargers a part is of; left out where there is one."""

_ENGINE = {"inline": "An engine", "v": "A V engine", "flat": "A flat engine", "w": "A W engine"}
_NUMBERED = {"cylinder": "cylinder", "crankpin": "crankpin", "main": "main journal"}


def positions_of(part: str, layout: EngineLayout) -> tuple[str, ...]:
    """Positions of a kind of part in an engine, in order; none where it has one such part.

    Args:
        part: of schemas/causes.toml.
        layout: of the engine.

    Raises:
        RegisterError: there is no such part.
    """
    match part_named(part).position:
        case "bank":
            return layout.banks
        case "turbo_end":
            return TURBO_ENDS
        case "none":
            return ()
        case counted:
            return tuple(str(n) for n in range(1, _count(counted, layout) + 1))


def spots_of(part: str, layout: EngineLayout) -> tuple[str, ...]:
    """Positions of a kind of part in an engine, in order; "" alone where it has one such part."""
    return positions_of(part, layout) or ("",)


def require_position(part: str, position: str | None, layout: EngineLayout | None = None) -> None:
    """Refuse a position at which no part of a kind can sit.

    Args:
        part: of schemas/causes.toml.
        position: to be checked; None, the only one or every one, fits every part.
        layout: of the engine; None: not known.

    Raises:
        RegisterError: there is no such part, or it has no such position.
    """
    kind = part_named(part).position
    if position is None:
        return
    match kind:
        case "none":
            raise RegisterError(f"An engine has one {part}: leave position out.")
        case "bank":
            _require_bank(part, position, layout)
        case "turbo_end":
            which, _, end = position.rpartition(" ")
            if end not in TURBO_ENDS or which not in ("", *TURBOS):
                raise RegisterError(
                    f"A {part} sits at an end of its turbocharger: write one of "
                    f"{', '.join(TURBO_ENDS)}, after {', '.join(TURBOS)} where there are two."
                )
        case _:
            _require_number(part, position, kind, layout)


def _require_bank(part: str, position: str, layout: EngineLayout | None) -> None:
    if layout is not None and not layout.banks:
        raise RegisterError(
            f"An engine has one {part} where its cylinders stand in a row: leave position out."
        )
    if position not in ("left", "right"):
        raise RegisterError(f"A {part} sits on a bank: write left or right.")


def _require_number(part: str, position: str, kind: str, layout: EngineLayout | None) -> None:
    counted = _NUMBERED[kind]
    if not re.fullmatch(r"[1-9][0-9]{0,2}", position):
        raise RegisterError(
            f"The position of a {part} is the number of its {counted}: write 1, 2, 3 from the "
            "front."
        )
    if layout is not None and int(position) > (most := _count(kind, layout)):
        raise RegisterError(
            f"{_ENGINE[layout.name]} of {layout.cylinders} cylinders has no {counted} {position}: "
            f"write 1 to {most}."
        )


def _count(kind: str, layout: EngineLayout) -> int:
    return {
        "cylinder": layout.cylinders,
        "crankpin": layout.crankpins,
        "main": layout.main_journals,
    }[kind]
