"""What a column's header says: the channel, and the unit where it states one."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal

from babbitt.logbook.settings import TIME
from babbitt.model.channels import channels
from babbitt.model.contracts import read_toml
from babbitt.model.units import parse

_IGNORED = re.compile(r"[\s.\-_\[\](){}'’]")
_BRACKETED = re.compile(r"(?P<name>.*\S)\s*[\[({](?P<unit>[^\[\](){}]*)[\])}]")
_BEHIND_COMMA = re.compile(r"(?P<name>.*[^\s,:])\s*[,:]\s*(?P<unit>[^\s,:][^,:]*)")
_WORD_BREAK = re.compile(r"[\s_:,;-]+")
_LONGEST_SUFFIX = 5
_CARS_OWN = (TIME, "speed", "distance", "lap_time", "lap_number", "latitude", "longitude")


@dataclass(frozen=True)
class Meaning:
    """What a header means.

    Attributes:
        channel: name of the canonical channel, "time", or None where the header is not known.
        unit: unit as the header states it, "" where it states none.
        by_name: the name itself is what states the unit, as in "RPM".
        absolute: it names an absolute pressure, from which ambient pressure must be taken.
    """

    channel: str | None
    unit: str
    by_name: bool = False
    absolute: bool = False


def fold(text: str) -> str:
    """Return a header as it is compared: without case, accents, spaces, dots, dashes, brackets."""
    plain = unicodedata.normalize("NFKD", text)
    letters = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return _IGNORED.sub("", letters.casefold())


@lru_cache(maxsize=1 << 12)
def read_header(header: str) -> Meaning:
    """Return what a header means.

    A unit may stand behind the name in brackets or behind a comma ("Oil Press [psi]", "Oil Temp,
    °C"), as its last word ("oil_press_psi", "OilPressPsi") where what is left is a known name of
    that dimension, or be the name itself ("RPM", "lateral g"). A group of a bus before a dot
    ("EEC1.EngSpeed") and a word that only says that it is the engine's ("Oil Press ECU") are cut
    off where the rest is a known name.
    """
    meaning = _read_whole(header)
    if meaning.channel is not None:
        return meaning
    name, unit = name_and_unit(header)
    return _without_owner(name, unit) or meaning


def _read_whole(header: str) -> Meaning:
    """Return what a header means with every word in it."""
    name, unit = name_and_unit(header)
    known = _aliases().get(fold(name))
    if known is None:
        return _with_suffix(name, unit) or Meaning(None, unit)
    channel, absolute = known
    if not unit and fold(name) in _stating():
        return Meaning(channel, channels()[channel].unit.symbol, by_name=True)
    return Meaning(channel, unit, absolute=absolute)


def is_time_header(header: str) -> bool:
    """Whether a header names the time column."""
    return read_header(header).channel == TIME


def join_groups(groups: Sequence[str], names: Sequence[str]) -> tuple[str, ...] | None:
    """Return the headers of columns whose names stand under those of groups.

    A group is put before a name unless it only says where a channel comes from ("Logger"), or the
    column is the time.

    Args:
        groups: of each column, "" where it has none; shape (columns,).
        names: of each column; shape (columns,).

    Returns:
        None where the groups tell nothing: no name is known with its group as it is not without,
        none repeats that differs with its group, and no group is the name of a source.
    """
    joined = [f"{group} {name}".strip() for group, name in zip(groups, names, strict=True)]
    known = [_read_whole(header).channel for header in joined]
    alone = [read_header(name).channel for name in names]
    sources = [fold(group) in _words("sources") for group in groups]
    told = any(a is not None and a != b for a, b in zip(known, alone, strict=True))
    if not (told or any(sources) or len(set(joined)) > len(set(names))):
        return None
    return tuple(
        name if alone[i] == TIME or (sources[i] and known[i] is None) else joined[i]
        for i, name in enumerate(names)
    )


def name_and_unit(header: str) -> tuple[str, str]:
    """Return the name in a header, and the unit behind it in brackets or behind a comma, or ""."""
    header = header.strip()
    if match := _BRACKETED.fullmatch(header):
        return match["name"], match["unit"].strip()
    if (match := _BEHIND_COMMA.fullmatch(header)) and parse(match["unit"]) is not None:
        return match["name"], match["unit"].strip()
    return header, ""


def _with_suffix(name: str, bracketed: str) -> Meaning | None:
    """Read a name whose end is a unit, and what stands before it a known name of its dimension."""
    words = _WORD_BREAK.split(name)
    ends = [("".join(words[:-k]), " ".join(words[-k:])) for k in (1, 2) if len(words) > k]
    joined = fold(name)
    ends += [(joined[:-k], joined[-k:]) for k in range(2, _LONGEST_SUFFIX + 1) if len(joined) > k]
    for start, end in ends:
        known = _aliases().get(fold(start))
        if known is not None:
            channel, absolute = known
            if parse(end, dimension=dimension_of(channel)) is not None:
                return Meaning(channel, bracketed or end, absolute=absolute)
    return None


def _without_owner(name: str, bracketed: str) -> Meaning | None:
    """Read a name without the group of a bus, or a word for the engine, that stands beside it.

    A bare word for the engine does not tell its speed from the car's, nor say what counts time.
    """
    group, dot, signal = name.rpartition(".")
    beside: list[tuple[str, tuple[str, ...]]]
    beside = [(signal, ())] if dot and fold(group) in _words("bus_groups") else []
    words = _WORD_BREAK.split(name)
    if len(words) > 1 and fold(words[0]) in _words("engines_own"):
        beside.append((" ".join(words[1:]), _CARS_OWN))
    if len(words) > 1 and fold(words[-1]) in _words("engines_own"):
        beside.append((" ".join(words[:-1]), _CARS_OWN))
    for rest, never in beside:
        meaning = read_header(f"{rest} [{bracketed}]" if bracketed else rest)
        if meaning.channel is not None and meaning.channel not in never:
            return meaning
    return None


def dimension_of(channel: str) -> str:
    """Return the dimension of a canonical channel, or of "time"."""
    return TIME if channel == TIME else channels()[channel].unit.dimension


@cache
def _aliases() -> dict[str, tuple[str, bool]]:
    """Folded alias -> channel, and whether it names an absolute pressure."""
    pairs: list[tuple[str, tuple[str, bool]]] = [
        (fold(alias), (TIME, False)) for alias in read_toml("time.toml")["headers"]
    ]
    for name, channel in channels().items():
        pairs += [(fold(alias), (name, False)) for alias in (name, *channel.aliases)]
        pairs += [(fold(alias), (name, True)) for alias in channel.absolute_aliases]
    return dict(pairs)


def source_words() -> frozenset[str]:
    """Folded words that say where a channel comes from, not what it is."""
    return _words("sources")


@cache
def _words(key: Literal["sources", "bus_groups", "engines_own"]) -> frozenset[str]:
    return frozenset(fold(word) for word in read_toml("time.toml")[key])


@cache
def _stating() -> frozenset[str]:
    return frozenset(fold(alias) for row in channels().values() for alias in row.stating_aliases)
