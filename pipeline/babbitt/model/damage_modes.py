"""Parts, their damage modes and what causes them: schemas/causes.toml, as values."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from babbitt.errors import RegisterError
from babbitt.model.contracts import read_toml
from babbitt.model.kinds import KINDS, Kind

PositionKind = Literal["cylinder", "crankpin", "main", "bank", "turbo_end", "none"]

RUNNING = "running"
"""The cause that is running time itself; its dose is in hours."""


@dataclass(frozen=True)
class Cause:
    """A dose that can be to blame for damage.

    Attributes:
        name: in tables and files; the kind, or the kind and which of its events.
        title: in a sentence.
        kind: of the events that make it up; None: a running total.
        exposure: field of what a run put on its engine that counts towards it, in seconds; None: it
            is made up of events.
        dose_unit: unit of its dose.
        event_cause: only events with this cause of their own; None: any.
        except_cause: only events without this cause of their own; None: any.
        during: only events that meet an event of this kind in the same run; None: any.
        outside: only events that meet no event of this kind in the same run; None: any.
    """

    name: str
    title: str
    kind: Kind | None
    exposure: str | None
    dose_unit: str
    event_cause: str | None
    except_cause: str | None
    during: Kind | None
    outside: Kind | None


@dataclass(frozen=True)
class Measurement:
    """What to measure at teardown, and its unit."""

    name: str
    unit: str


@dataclass(frozen=True)
class DamageMode:
    """One way in which a part is damaged.

    Attributes:
        part: name of the part.
        name: in tables and files.
        title: in a sentence.
        primary: causes that damage it in their own right.
        contributing: causes that help.
        clock: cause that ages it where no dose does.
        unlogged: what else does it, in words.
        look_for: at teardown, in the trade's words.
        standard_term: ISO 7146-1 name of the damage to a plain bearing; None: not a bearing's.
        develops: belief, before any teardown, that it comes on gradually.
    """

    part: str
    name: str
    title: str
    primary: tuple[str, ...]
    contributing: tuple[str, ...]
    clock: str
    unlogged: str
    look_for: str
    standard_term: str | None
    develops: float

    @property
    def causes(self) -> tuple[str, ...]:
        """The logged causes, primary first."""
        return self.primary + self.contributing


@dataclass(frozen=True)
class Part:
    """A kind of part.

    Attributes:
        name: in tables and files.
        title: in a sentence.
        position: what its position counts.
        measurements: to take at teardown.
        modes: its damage modes by name.
    """

    name: str
    title: str
    position: PositionKind
    measurements: tuple[Measurement, ...]
    modes: dict[str, DamageMode]


@dataclass(frozen=True)
class Grade:
    """A step of the scale of findings.

    Attributes:
        value: 0 to 4.
        title: in a word or two.
        meaning: in words.
        damaged: whether it counts as damage when the model learns.
    """

    value: int
    title: str
    meaning: str
    damaged: bool


@cache
def grades() -> tuple[Grade, ...]:
    """The scale of findings, sound first."""
    return tuple(
        Grade(int(value), **row) for value, row in read_toml("causes.toml")["grade"].items()
    )


@cache
def causes() -> dict[str, Cause]:
    """Every cause by name, in the order of schemas/causes.toml."""
    return {name: _cause(name, row) for name, row in read_toml("causes.toml")["cause"].items()}


@cache
def parts() -> dict[str, Part]:
    """Every kind of part by name, in the order of schemas/causes.toml."""
    return {name: _part(name, row) for name, row in _part_rows().items()}


def part_named(name: str) -> Part:
    """Return the kind of part `name`.

    Raises:
        RegisterError: there is none; names the nearest.
    """
    if name not in parts():
        raise RegisterError(f"There is no part {name!r} ({_nearest(name, parts())}).")
    return parts()[name]


def parts_once_called(name: str) -> tuple[str, ...]:
    """Kinds of part that the first edition called `name`; none where it is the name of today."""
    return tuple(part for part, row in _part_rows().items() if row.get("was") == name)


def as_named_today(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Fields of a record about a part, with what the first edition called otherwise renamed.

    Args:
        fields: of which `part`, `damage_mode` and `position` are looked at.
    """
    named = dict(fields)
    named["part"] = (parts_once_called(str(fields.get("part"))) or (fields.get("part"),))[-1]
    row = _part_rows().get(str(named["part"]), {})
    for mode, about in row.get("mode", {}).items():
        if "was" in about and about["was"] == fields.get("damage_mode"):
            named["damage_mode"] = mode
    position = fields.get("position")
    if isinstance(position, str):
        named["position"] = row.get("positions_were", {}).get(position, position)
    return {name: value for name, value in named.items() if name in fields}


def mode_named(part: str, name: str) -> DamageMode:
    """Return the damage mode `name` of the kind of part `part`.

    Raises:
        RegisterError: there is no such part or mode; names the nearest.
    """
    modes = part_named(part).modes
    if name not in modes:
        raise RegisterError(
            f"There is no damage mode {name!r} of {part} ({_nearest(name, modes)})."
        )
    return modes[name]


def _nearest(name: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.5)
    return f"did you mean {close[0]!r}?" if close else f"known: {', '.join(known)}"


def _cause(name: str, row: dict[str, Any]) -> Cause:
    kind: Kind | None = row.get("kind")
    return Cause(
        name=name,
        title=row["title"],
        kind=kind,
        exposure=row.get("exposure"),
        dose_unit="h" if kind is None else KINDS[kind].dose_unit,
        event_cause=row.get("event_cause"),
        except_cause=row.get("except_cause"),
        during=row.get("during"),
        outside=row.get("outside"),
    )


@cache
def _part_rows() -> dict[str, Any]:
    rows: dict[str, Any] = read_toml("causes.toml")["part"]
    return rows


def _part(name: str, row: dict[str, Any]) -> Part:
    return Part(
        name=name,
        title=row["title"],
        position=row["position"],
        measurements=tuple(Measurement(**measurement) for measurement in row["measurements"]),
        modes={mode: _mode(name, mode, about) for mode, about in row["mode"].items()},
    )


def _mode(part: str, name: str, row: dict[str, Any]) -> DamageMode:
    primary, contributing = tuple(row["primary"]), tuple(row["contributing"])
    clock = row.get("clock", RUNNING)
    unknown = [cause for cause in (*primary, *contributing, clock) if cause not in causes()]
    if unknown:
        raise AssertionError(f"schemas/causes.toml: {part}.{name} has unknown causes {unknown}")
    return DamageMode(
        part=part,
        name=name,
        title=row["title"],
        primary=primary,
        contributing=contributing,
        clock=clock,
        unlogged=row["unlogged"],
        look_for=row["look_for"],
        standard_term=row.get("standard_term"),
        develops=row["develops"],
    )
