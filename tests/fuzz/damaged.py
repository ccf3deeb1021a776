"""Damage to what people write by hand: the sorts of `mutants`, and values that nobody meant."""

from __future__ import annotations

import random
from collections.abc import Sequence

from mutants import DAMAGES

VALUES = [
    *("", "1", "-1", "0", "1.5", "1e400", "-1e400", "nan", "inf", "-inf", "9" * 30, "9" * 5000),
    *("true", "false", "[]", "{}", '""', "''", '"x"', '"' + "x" * 5000 + '"', "[1, 'a']"),
    *("[" * 3000, "{a=" * 300, "[" * 90 + "]" * 90, "[[1]]", "{a = 1}", '{a = {b = {c = "d"}}}'),
    *("1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "0x7fffffffffffffffffff", "0b1", "1_000"),
    *('"\\u0000"', '"\\ud800"', '"\x1b[2J"', '"\u202e"', '"../../x"', '"/dev/zero"', '"=1+1"'),
    *(
        "'''",
        '"""',
        "#",
        "\\",
        "a.b",
        "[x]",
        "[[x]]",
        "1 = 2",
        '"ß" = 1',
        "[[finding]]",
        "[engine]",
    ),
    *("-0", "+1", "1e-400", "2", "3.0", '"2"', '"left"', '"rod_bearing"', '"UTC"', '"Asia/Tokyo"'),
]
MOST_BYTES = 2_000_000
"""Small files are what is tried: a large one may take its time."""

KEYS = ["a", "a.b", "." * 50, "a" + ".a" * 150, '"x y"', "ß", "note", "grade", "engine", "part"]


def damage(seed: int, seeds: Sequence[bytes]) -> bytes:
    """Return one of the seeds, damaged once to three times as the seed has it."""
    dice = random.Random(seed)
    data = dice.choice(seeds)
    for _ in range(dice.choice([1, 1, 1, 2, 3])):
        other = dice.choice((*DAMAGES, *[_other_value] * 8, *[_other_line] * 4))
        data = other(dice, data, seeds) or dice.choice(seeds)
    return data[:MOST_BYTES]


def _other_value(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    """Give a key another value."""
    lines = data.split(b"\n")
    at = dice.randrange(len(lines))
    key, equals, _ = lines[at].partition(b"=")
    value = dice.choice(VALUES).encode("utf-8", errors="replace")
    lines[at] = key + b"= " + value if equals else lines[at] + value
    return b"\n".join(lines)


def _other_line(dice: random.Random, data: bytes, _: Sequence[bytes]) -> bytes:
    """Put a line in that does not belong there, once or many times."""
    lines = data.split(b"\n")
    line = f"{dice.choice(KEYS)} = {dice.choice(VALUES)}".encode("utf-8", errors="replace")
    at = dice.randrange(len(lines) + 1)
    copied = dice.choice([line, dice.choice(lines)])
    lines[at:at] = [copied] * dice.choice([1, 1, 1, 30, 300])
    return b"\n".join(lines)
